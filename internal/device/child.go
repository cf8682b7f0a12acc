package device

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"
)

// Command is the argument that makes a program the child. It is for no user.
const Command = "sound-process"

// endLimit is how long a child whose parent has gone gives its device to stop.
const endLimit = time.Second

// A request is the job of a child.
type request struct {
	Job     job
	Name    string // of the device; "": the default one
	Channel int    // recorded, from 1; 0: the mean of all
	Rate    int    // Hz; 0: DefaultRate, or the device's own where it does not take that
}

type job string

const (
	jobList   job = "list"
	jobRecord job = "record"
	jobPlay   job = "play"
)

// ServeIfAsked makes this process the child, and ends it, if it was started as one.
func ServeIfAsked() {
	if len(os.Args) != 2 || os.Args[1] != Command {
		return
	}
	if os.Getenv(childMark) == "" {
		fmt.Fprintf(os.Stderr, "tunerd: error: %s is a part of tunerd that it starts itself\n", Command)
		os.Exit(2)
	}
	os.Exit(child(newDriver()))
}

// child does the job that is asked for on standard input, and returns the exit status.
func child(d driver) int {
	// Ctrl-C goes to all processes of a terminal, and the end of a service to all of its. It is the
	// parent who ends the child.
	signal.Ignore(os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT)
	nameProcess()
	out, err := claimStdout()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	runtime.LockOSThread() // some sound systems want all calls from the same thread
	c := newServant(d, os.Stdin, out)
	go func() {
		<-c.gone
		time.Sleep(endLimit)
		os.Exit(1) // whatever the library is at
	}()
	if c.serve() != nil {
		return 1
	}
	return 0
}

// A servant does one job for the parent.
type servant struct {
	driver driver
	wire   *wire
	gone   chan struct{} // closed when the parent wants no more
	sound  chan []float32
}

func newServant(d driver, in io.Reader, out io.Writer) *servant {
	return &servant{driver: d, wire: newWire(in, out), gone: make(chan struct{}), sound: make(chan []float32)}
}

// serve does what the first message asks for. What goes wrong is told to the parent.
func (s *servant) serve() error {
	k, body, err := s.wire.receive()
	var req request
	switch {
	case err != nil:
		close(s.gone)
		return err
	case k != kindRequest:
		err = fmt.Errorf("message %q comes first instead of a request", k)
	default:
		err = json.Unmarshal(body, &req)
	}
	go s.listen()
	if err == nil {
		err = s.do(req)
	}
	if err != nil {
		_ = s.wire.sendText(kindFailure, err.Error()) // the parent may be gone
	}
	return err
}

// listen takes what comes after the request, to the end.
func (s *servant) listen() {
	defer close(s.gone)
	for {
		k, body, err := s.wire.receive()
		if err != nil {
			return
		}
		if k == kindSound {
			s.sound <- appendSamples(nil, body)
		}
	}
}

func (s *servant) do(req request) (err error) {
	if err := s.driver.initialize(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.driver.terminate()) }()
	devices, err := s.driver.devices()
	if err != nil {
		return err
	}
	switch req.Job {
	case jobList:
		return s.wire.sendJSON(kindList, devices)
	case jobRecord:
		return s.record(devices, req)
	case jobPlay:
		return s.play(devices, req)
	}
	return fmt.Errorf("job %q is none of list, record, play", req.Job)
}
