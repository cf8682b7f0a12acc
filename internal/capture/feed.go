package capture

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"sync"
	"time"
)

// feedChunks is how many pushes wait for a reader that is behind.
const feedChunks = 64

// A Feed is a live source whose samples somebody else pushes in, such as the microphone of a web
// page. The pusher numbers its samples, so that what is lost on the way shows as a gap.
//
// Reading and pushing may go on at once; Push and Break may not overlap.
type Feed struct {
	name string
	rate int // Hz

	queue  chan feedChunk
	broke  chan struct{} // holds a token when the pusher has gone
	closed chan struct{}
	once   sync.Once

	// The pusher's own.
	base   int64     // what the pusher calls sample 0, on the feed's clock
	end    int64     // where the newest sample ends, on the feed's clock
	last   time.Time // of the newest push; zero before the first
	broken bool      // the next push follows a break

	rest feedChunk // what is left of the chunk at hand; the reader's own
	next int64     // index of the sample that continues what was read
}

// A feedChunk is what one push brought.
type feedChunk struct {
	start   int64
	samples []float32
}

// NewFeed returns a feed of samples at rate Hz.
func NewFeed(name string, rate int) (*Feed, error) {
	if err := checkSampleRate(rate); err != nil {
		return nil, err
	}
	return &Feed{
		name: name, rate: rate,
		queue: make(chan feedChunk, feedChunks), broke: make(chan struct{}, 1), closed: make(chan struct{}),
	}, nil
}

func (f *Feed) Name() string    { return f.name }
func (f *Feed) SampleRate() int { return f.rate }
func (f *Feed) Live() bool      { return true }

// Push takes samples, the first of which the pusher counts as number start, and keeps the slice.
// It never waits: when the reader is too far behind, the samples are lost. After Break the count
// may begin anew; how much is missing is then told by the clock.
func (f *Feed) Push(start int64, samples []float32) error {
	for _, x := range samples {
		if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
			return errors.New("a sample is no finite number")
		}
	}
	now := time.Now()
	switch {
	case f.last.IsZero():
		f.base = -start
	case f.broken:
		missed := int64(math.Round(now.Sub(f.last).Seconds()*float64(f.rate))) - int64(len(samples))
		f.base = f.end + max(1, missed) - start
	}
	at := f.base + start
	if at < f.end {
		return fmt.Errorf("sample %d comes after sample %d", start, f.end-f.base)
	}
	f.broken, f.end, f.last = false, at+int64(len(samples)), now
	select {
	case f.queue <- feedChunk{at, samples}:
	default:
	}
	return nil
}

// Break tells that the pusher has gone. Read gives ErrDeviceLost once and then waits for the next
// push.
func (f *Feed) Break() {
	f.broken = true
	select {
	case f.broke <- struct{}{}:
	default:
	}
}

func (f *Feed) Read(ctx context.Context, dst []float64) (Block, error) {
	for len(f.rest.samples) == 0 {
		if err := f.wait(ctx); err != nil {
			return Block{}, err
		}
	}
	n := min(len(dst), len(f.rest.samples))
	for i, x := range f.rest.samples[:n] {
		dst[i] = float64(x)
	}
	b := Block{Samples: dst[:n], Start: f.rest.start, Lost: f.rest.start - f.next}
	f.rest.start += int64(n)
	f.rest.samples = f.rest.samples[n:]
	f.next = f.rest.start
	return b, nil
}

// wait takes the next chunk. The news that the pusher has gone comes after what it has pushed.
func (f *Feed) wait(ctx context.Context) error {
	select {
	case f.rest = <-f.queue:
		return nil
	default:
	}
	select {
	case f.rest = <-f.queue:
		return nil
	case <-f.broke:
		return ErrDeviceLost
	case <-ctx.Done():
		return ctx.Err()
	case <-f.closed:
		return fmt.Errorf("%s: %w", f.name, fs.ErrClosed)
	}
}

// Close ends a Read that waits.
func (f *Feed) Close() error {
	f.once.Do(func() { close(f.closed) })
	return nil
}
