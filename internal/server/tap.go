package server

import (
	"context"
	"errors"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
)

// A tap is a source whose sound somebody else may hear besides the one who reads it.
type tap struct {
	capture.Source
	mu   sync.Mutex
	feed *capture.Feed // nil: nobody else hears
}

// TrueRate is that of the source.
func (t *tap) TrueRate() float64 { return capture.TrueRate(t.Source) }

// Waits is what capture.Waits tells of the source.
func (t *tap) Waits() bool { return capture.Waits(t.Source) }

// Clock is the correction of the source's clock.
func (t *tap) Clock() clock.Correction { return clock.Of(t.Source) }

func (t *tap) Read(ctx context.Context, dst []float64) (capture.Block, error) {
	b, err := t.Source.Read(ctx, dst)
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case t.feed == nil:
	case errors.Is(err, capture.ErrDeviceLost):
		t.feed.Break()
	case err != nil:
		t.feed.Close()
	default:
		t.share(b)
	}
	return b, err
}

// share passes a block on. The feed never waits, and samples of a source are finite and in order.
func (t *tap) share(b capture.Block) {
	samples := make([]float32, len(b.Samples))
	for i, x := range b.Samples {
		samples[i] = float32(x)
	}
	_ = t.feed.Push(b.Start, samples)
}

// along returns a source of the same sound from now on. There is one at a time: the one before it
// ends.
func (t *tap) along() (capture.Source, error) {
	feed, err := capture.NewFeed(t.Name(), t.SampleRate())
	if err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.feed != nil {
		t.feed.Close()
	}
	t.feed = feed
	return sharedFeed{feed, t.TrueRate()}, nil
}

// alone ends what along has begun.
func (t *tap) alone() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.feed != nil {
		t.feed.Close()
		t.feed = nil
	}
}

// A sharedFeed knows the rate of the source better than by its name.
type sharedFeed struct {
	*capture.Feed
	rate float64 // Hz
}

func (f sharedFeed) TrueRate() float64 { return f.rate }
