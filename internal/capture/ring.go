package capture

import (
	"math"
	"sync/atomic"
	"time"
)

// slotFrames is the number of frames that a slot of a ring holds, and that a device is asked
// to deliver at a time.
const slotFrames = 512

// A ring carries the samples of one channel from the thread that calls push to the goroutine
// that calls pull. Neither waits for the other: push gives up when the ring is full.
type ring struct {
	rate  float64 // Hz
	slots []slot
	epoch time.Time
	ready chan struct{} // holds a token when there may be something new to pull

	filled  atomic.Int64 // slots, since the beginning
	emptied atomic.Int64 // slots, since the beginning
	last    atomic.Int64 // [ns] of the last push, since epoch
	broken  atomic.Bool  // the next push follows a break

	unreported int64 // samples lost before the next slot; push's own
	off        int   // samples of the slot at hand that are pulled already; pull's own
}

type slot struct {
	lost    int64 // samples, before the first one
	n       int   // samples in use
	samples [slotFrames]float32
}

// newRing makes a ring that holds at least span of samples at rate Hz.
func newRing(rate int, span time.Duration) *ring {
	n := int(math.Ceil(span.Seconds()*float64(rate)/slotFrames)) + 1
	return &ring{
		rate: float64(rate), slots: make([]slot, n),
		epoch: time.Now(), ready: make(chan struct{}, 1),
	}
}

// push takes frames of nch channels, of which it keeps channel pick, or the mean if pick is 0.
// overflow tells that the device lost samples just before. push neither waits nor allocates.
//
// What an overflow or a break lost is told by the clock: the time since the last push less
// that of the frames that came. It is off by as much as the device's buffer wavers, some
// hundreds of samples, and at least 1. What a full ring loses is counted exactly.
func (r *ring) push(frames []float32, nch, pick int, overflow bool) {
	count := len(frames) / nch
	now := time.Since(r.epoch)
	if r.broken.Swap(false) || overflow {
		r.unreported += r.gap(now, count)
	}
	for count > 0 {
		head := r.filled.Load()
		if head-r.emptied.Load() == int64(len(r.slots)) {
			r.unreported += int64(count)
			break
		}
		s := &r.slots[head%int64(len(r.slots))]
		s.n = min(count, slotFrames)
		mix(s.samples[:s.n], frames[:s.n*nch], pick)
		s.lost, r.unreported = r.unreported, 0
		r.filled.Store(head + 1)
		frames = frames[s.n*nch:]
		count -= s.n
	}
	r.last.Store(int64(now))
	r.wake()
}

// gap is the number of samples lost before a push of count frames at time now.
func (r *ring) gap(now time.Duration, count int) int64 {
	last := time.Duration(r.last.Load())
	if last == 0 { // nothing came before
		return 1
	}
	return max(1, int64(math.Round((now-last).Seconds()*r.rate))-int64(count))
}

// wake makes whoever waits for ready look again.
func (r *ring) wake() {
	select {
	case r.ready <- struct{}{}:
	default:
	}
}

// silence is the time since the last push.
func (r *ring) silence() time.Duration {
	return time.Since(r.epoch) - time.Duration(r.last.Load())
}

// pull moves samples to the front of dst, up to the next loss or the last one there is, and
// returns how many it moved, and how many were lost before them.
func (r *ring) pull(dst []float64) (n int, lost int64) {
	for n < len(dst) {
		tail := r.emptied.Load()
		if tail == r.filled.Load() {
			break
		}
		s := &r.slots[tail%int64(len(r.slots))]
		if r.off == 0 && s.lost > 0 {
			if n > 0 {
				break
			}
			lost = s.lost
		}
		k := min(len(dst)-n, s.n-r.off)
		for i, v := range s.samples[r.off : r.off+k] {
			dst[n+i] = float64(v)
		}
		n += k
		r.off += k
		if r.off == s.n {
			r.off = 0
			r.emptied.Store(tail + 1)
		}
	}
	return n, lost
}
