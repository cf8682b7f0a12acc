package capture

import (
	"context"
	"fmt"
	"io"
	"io/fs"
	"sync/atomic"
)

// demo is the built-in demo signal as a source: one pass of the scene, or, at real-time speed, the
// scene again and again.
type demo struct {
	scene  *demoScene
	loop   bool
	buf    []float64 // a chunk of the scene, made at once so that no read size changes the sound
	ready  []float64 // the part of buf that is still to be delivered
	pos    int64
	closed atomic.Bool
}

// openDemo opens the built-in demo signal, at 48000 Hz unless o names another sample rate. It
// ends after one pass of the scene; with o.Paced it goes on for ever. Open paces it.
func openDemo(o Options) (Source, error) {
	if o.Channel > 1 {
		return nil, fmt.Errorf("demo: channel %d is not there, the demo signal has 1", o.Channel)
	}
	rate := o.SampleRate
	if rate == 0 {
		rate = demoSampleRate
	}
	return &demo{scene: newDemoScene(rate), loop: o.Paced, buf: make([]float64, demoChunk)}, nil
}

func (d *demo) Name() string    { return "demo" }
func (d *demo) SampleRate() int { return int(d.scene.sampleRate) }
func (d *demo) Live() bool      { return false }

func (d *demo) Read(ctx context.Context, dst []float64) (Block, error) {
	if d.closed.Load() {
		return Block{}, fmt.Errorf("demo: %w", fs.ErrClosed)
	}
	if err := ctx.Err(); err != nil {
		return Block{}, err
	}
	n := 0
	for n < len(dst) {
		if len(d.ready) == 0 && !d.refill() {
			break
		}
		copied := copy(dst[n:], d.ready)
		d.ready = d.ready[copied:]
		n += copied
	}
	if n == 0 && len(dst) > 0 {
		return Block{}, io.EOF
	}
	block := Block{Samples: dst[:n], Start: d.pos}
	d.pos += int64(n)
	return block, nil
}

// refill makes the next chunk and reports whether there was one.
func (d *demo) refill() bool {
	n := d.scene.fill(d.buf)
	if n == 0 && d.loop {
		d.scene.restart()
		n = d.scene.fill(d.buf)
	}
	d.ready = d.buf[:n]
	return n > 0
}

func (d *demo) Close() error {
	d.closed.Store(true)
	return nil
}
