package capture

import (
	"context"
	"errors"
	"runtime"
	"time"
)

// A driver is a sound system. Its methods are called one at a time, from one thread.
type driver interface {
	initialize() error // looks for devices
	devices() ([]Device, error)
	open(p streamParams, deliver deliverFunc) (stream, error) // opens and starts
	terminate() error                                         // after every stream is closed
}

// A stream is a running input.
type stream interface {
	close() error // stops it; nothing is delivered any more after it
}

type streamParams struct {
	device   Device
	channels int
	rate     int // Hz
}

// A deliverFunc takes frames on a thread of the driver. It may not wait, and frames may not be
// kept. overflow tells that samples before or among them were lost.
type deliverFunc func(frames []float32, overflow bool)

// answerLimit is how long a call to a driver is waited for, where nobody else sets a limit.
const answerLimit = 10 * time.Second

var errNoAnswer = errors.New("the sound system does not answer")

// A control makes the calls to a driver, one after the other, on one goroutine bound to one
// thread: no two may overlap, and some sound systems want them all from the same thread. When
// a call hangs, those behind it wait; the callers need not.
type control struct {
	driver driver
	calls  chan func()
}

func newControl(d driver) *control {
	c := &control{driver: d, calls: make(chan func(), 64)}
	go c.run()
	return c
}

func (c *control) run() {
	runtime.LockOSThread()
	for call := range c.calls {
		call()
	}
}

// submit has f called in its turn and returns where its result will be.
func (c *control) submit(f func() error) <-chan error {
	result := make(chan error, 1)
	c.calls <- func() { result <- f() }
	return result
}

// do has f called in its turn and waits for it until ctx ends. f is called even then.
func (c *control) do(ctx context.Context, f func() error) error {
	select {
	case err := <-c.submit(f):
		return err
	case <-ctx.Done():
		if errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return errNoAnswer
		}
		return ctx.Err()
	}
}
