package device

import (
	"math"
	"sync/atomic"
	"time"

	"tunerd/internal/sampling"
)

// A ring carries the samples of one channel from the thread that calls push to the goroutine
// that calls pull. Neither waits for the other: push gives up when the ring is full.
type ring struct {
	rate  float64 // Hz
	slots []slot
	epoch time.Time
	ready chan struct{} // holds a token when there may be something new to pull

	filled  atomic.Int64 // slots, since the beginning
	emptied atomic.Int64 // slots, since the beginning

	last       time.Duration // of the last push, since epoch; push's own, like unreported
	unreported int64         // samples lost before the next slot

	pos int64 // number of the next sample, lost ones counted; pull's own
}

type slot struct {
	lost    int64     // samples, before the first one
	at      time.Time // of the push
	n       int       // samples in use
	samples [BlockLen]float32
}

// newRing makes a ring that holds at least span of samples at rate Hz.
func newRing(rate int, span time.Duration) *ring {
	n := int(math.Ceil(span.Seconds()*float64(rate)/BlockLen)) + 1
	return &ring{rate: float64(rate), slots: make([]slot, n), epoch: time.Now(), ready: make(chan struct{}, 1)}
}

// push takes frames of nch channels, of which it keeps channel pick, or the mean if pick is 0.
// overflow tells that the device lost samples just before. push neither waits nor allocates.
//
// What an overflow lost is told by the clock: the time since the last push less that of the
// frames that came. It is off by as much as the device's buffer wavers, some hundreds of
// samples, and at least 1. What a full ring loses is counted exactly.
func (r *ring) push(frames []float32, nch, pick int, overflow bool) {
	count := len(frames) / nch
	at := time.Now()
	now := at.Sub(r.epoch)
	if overflow {
		r.unreported += r.gap(now, count)
	}
	for count > 0 {
		head := r.filled.Load()
		if head-r.emptied.Load() == int64(len(r.slots)) {
			r.unreported += int64(count)
			break
		}
		s := &r.slots[head%int64(len(r.slots))]
		s.n, s.at = min(count, BlockLen), at
		sampling.Mix(s.samples[:s.n], frames[:s.n*nch], pick)
		s.lost, r.unreported = r.unreported, 0
		r.filled.Store(head + 1)
		frames = frames[s.n*nch:]
		count -= s.n
	}
	r.last = now
	select {
	case r.ready <- struct{}{}:
	default:
	}
}

// gap is the number of samples lost before a push of count frames at time now.
func (r *ring) gap(now time.Duration, count int) int64 {
	if r.last == 0 { // nothing came before
		return 1
	}
	return max(1, int64(math.Round((now-r.last).Seconds()*r.rate))-int64(count))
}

// pull copies the next slot into b, whose slice it uses, and is false if there is none.
func (r *ring) pull(b *Block) bool {
	tail := r.emptied.Load()
	if tail == r.filled.Load() {
		return false
	}
	s := &r.slots[tail%int64(len(r.slots))]
	b.Lost, b.At = s.lost, s.at
	b.Start = r.pos + s.lost
	b.Samples = append(b.Samples[:0], s.samples[:s.n]...)
	r.pos = b.Start + int64(s.n)
	r.emptied.Store(tail + 1)
	return true
}
