package capture

import (
	"context"
	"fmt"
	"io/fs"
	"sync"
	"time"

	"tunerd/internal/sampling"
)

// A paced source delivers the samples of another one in real time: as a device does, it gives
// a sample no earlier than its time has passed since the first Read.
type paced struct {
	Source
	start  time.Time // of the first Read
	pos    int64     // samples delivered
	timer  *time.Timer
	closed chan struct{}
	once   sync.Once
}

func newPaced(src Source) *paced {
	p := &paced{Source: src, timer: time.NewTimer(0), closed: make(chan struct{})}
	p.timer.Stop()
	return p
}

func (p *paced) Live() bool { return true }

// Waits is true: what is late is still there, and is then read faster until it has caught up.
func (p *paced) Waits() bool { return true }

func (p *paced) Read(ctx context.Context, dst []float64) (Block, error) {
	if p.start.IsZero() {
		p.start = time.Now()
	}
	// The wait comes first, so that giving it up loses no samples.
	due := p.start.Add(sampling.Duration(p.pos+int64(len(dst)), p.SampleRate()))
	p.timer.Reset(time.Until(due))
	select {
	case <-p.timer.C:
	case <-ctx.Done():
		return Block{}, ctx.Err()
	case <-p.closed:
		return Block{}, fmt.Errorf("%s: %w", p.Name(), fs.ErrClosed)
	}
	b, err := p.Source.Read(ctx, dst)
	p.pos += int64(len(b.Samples))
	return b, err
}

func (p *paced) Close() error {
	p.once.Do(func() { close(p.closed) })
	return p.Source.Close()
}
