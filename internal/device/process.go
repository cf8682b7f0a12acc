package device

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"strings"
	"time"

	"tunerd/internal/sampling"
)

const (
	// childMark is the variable of the environment by which a child knows that it is one.
	childMark = "TUNERD_SOUND_PROCESS"
	// reapLimit is how long the end of a killed child is waited for: the system may hold it.
	reapLimit = time.Second
	// answerLimit is how long a device may take to be listed or opened.
	answerLimit = 10 * time.Second
)

var errNoAnswer = errors.New("the sound system does not answer")

// A process is a running child, seen by its parent.
type process struct {
	wire   *wire
	pid    int
	input  io.Closer     // the child's standard input
	output io.Closer     // the parent's end of its standard output
	kill   func()        // at once; may be called again
	ended  chan struct{} // closed when it has ended, and all of its standard error has been read
	said   *chatter
}

// launch starts a child and gives it its job. Tests have another one.
var launch = startProgram

// startProgram starts this program as a child.
func startProgram() (*process, error) {
	if err := supported(); err != nil {
		return nil, err
	}
	if os.Getenv(childMark) != "" { // a test binary without ServeIfAsked would start itself for ever
		return nil, errors.New("a sound process starts no other one")
	}
	program, err := executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(program, Command)
	cmd.Args[0] = os.Args[0] // for lists of processes
	cmd.Env = childEnv()
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, theirs, err := os.Pipe() // StdoutPipe's would be closed with messages in it
	if err != nil {
		return nil, err
	}
	defer theirs.Close()
	p := &process{wire: newWire(out, in), input: in, output: out, ended: make(chan struct{}), said: &chatter{}}
	cmd.Stdout, cmd.Stderr = theirs, p.said
	cmd.WaitDelay = reapLimit // in case somebody else holds its standard error
	if err := cmd.Start(); err != nil {
		out.Close()
		return nil, err
	}
	p.pid = cmd.Process.Pid
	p.kill = func() { _ = cmd.Process.Kill() } // it may have ended
	go func() {
		_ = cmd.Wait() // what there is to say of its end, it says by its last message
		close(p.ended)
	}()
	return p, nil
}

// childEnv is the environment of a child. A child notifies no service manager, and starts no
// sound server.
func childEnv() []string {
	var env []string
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "NOTIFY_SOCKET=") {
			env = append(env, v)
		}
	}
	return append(env, childMark+"=1", "JACK_NO_START_SERVER=1")
}

// begin starts a child and gives it its job.
func begin(req request) (*process, error) {
	p, err := launch()
	if err != nil {
		return nil, fmt.Errorf("start the sound process: %w", err)
	}
	if err := p.wire.sendJSON(kindRequest, req); err != nil {
		return nil, errors.Join(fmt.Errorf("start the sound process: %w", p.told(err)), p.end(0))
	}
	return p, nil
}

// answer returns the next message, which must be of kind k. A failure that the child tells is the
// error, and so is its end.
func (p *process) answer(k kind) ([]byte, error) {
	got, body, err := p.wire.receive()
	switch {
	case err != nil:
		return nil, p.told(err)
	case got == kindFailure:
		return nil, errors.New(string(body))
	case got != k:
		return nil, fmt.Errorf("the sound process sends %q where %q is due", got, k)
	}
	return body, nil
}

// told puts into words that a child has ended without any.
func (p *process) told(err error) error {
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, fs.ErrClosed), errors.Is(err, io.ErrUnexpectedEOF):
		return errors.New("the sound process has ended")
	}
	return fmt.Errorf("the sound process: %w", err)
}

// within does f, which waits for the child, and kills the child when that takes longer than limit.
func (p *process) within(limit time.Duration, f func() error) error {
	late := time.AfterFunc(limit, p.kill)
	err := f()
	if !late.Stop() {
		return errNoAnswer
	}
	return err
}

// open waits until the device is open, or could not be opened, which is an error.
func (p *process) open() (Opened, error) {
	var o Opened
	body, err := p.answer(kindOpened)
	if err != nil {
		return o, err
	}
	if err := json.Unmarshal(body, &o); err != nil || o.Rate < sampling.MinRate || o.Rate > sampling.MaxRate {
		return o, fmt.Errorf("the sound process opened %q", body)
	}
	return o, nil
}

// end asks the child to end and kills it when it has not done so within limit, which is an error.
// Nothing is received any more.
func (p *process) end(limit time.Duration) error {
	defer p.output.Close()
	_ = p.input.Close()
	select {
	case <-p.ended:
		return nil
	case <-time.After(limit):
	}
	p.kill()
	select {
	case <-p.ended:
	case <-time.After(reapLimit):
	}
	return errNoAnswer
}
