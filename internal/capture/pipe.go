package capture

import (
	"context"
	"io"
	"io/fs"
	"sync"
)

const (
	pipeBuffers    = 4
	pipeBufferSize = 1 << 14 // bytes
)

// A pipe reads from another reader in a goroutine of its own, so that waiting for it can be
// given up. The goroutine ends after the read it is in; on standard input, where nobody can
// break off a read, that may be as late as the end of the program.
type pipe struct {
	ctx    context.Context // of the Read in progress
	filled chan []byte
	free   chan []byte
	buf    []byte // the buffer being handed out
	rest   []byte // what is left of it
	err    error  // set before filled is closed
	done   chan struct{}
	once   sync.Once
}

func newPipe(ctx context.Context, r io.Reader) *pipe {
	p := &pipe{
		ctx:    ctx,
		filled: make(chan []byte, pipeBuffers),
		free:   make(chan []byte, pipeBuffers),
		done:   make(chan struct{}),
	}
	for range pipeBuffers {
		p.free <- make([]byte, pipeBufferSize)
	}
	go p.pump(r)
	return p
}

func (p *pipe) pump(r io.Reader) {
	defer close(p.filled)
	for {
		var buf []byte
		select {
		case buf = <-p.free:
		case <-p.done:
			return
		}
		n, err := r.Read(buf)
		p.filled <- buf[:n] // there is room for every buffer
		if err != nil {
			p.err = err
			return
		}
	}
}

// Read waits for data until p.ctx ends or the pipe is stopped.
func (p *pipe) Read(dst []byte) (int, error) {
	for len(p.rest) == 0 {
		if p.buf != nil {
			p.free <- p.buf[:pipeBufferSize]
			p.buf = nil
		}
		select {
		case <-p.done:
			return 0, fs.ErrClosed
		case <-p.ctx.Done():
			return 0, p.ctx.Err()
		case buf, ok := <-p.filled:
			if !ok {
				return 0, p.err
			}
			p.buf, p.rest = buf, buf
		}
	}
	n := copy(dst, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}

// stop ends a Read that waits, and the goroutine.
func (p *pipe) stop() { p.once.Do(func() { close(p.done) }) }
