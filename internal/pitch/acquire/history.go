package acquire

import "math"

// A History keeps the latest samples in one piece.
type History struct {
	buf   []float64 // all that is held
	Begin int64     // index of buf[0]
	keep  int       // samples that must stay
}

// NewHistory returns one that keeps the latest so many samples.
func NewHistory(keep int) *History {
	const room = 4 // times what is kept, so that samples are moved seldom
	return &History{buf: make([]float64, 0, room*keep), keep: keep}
}

// End returns the index behind the last sample.
func (h *History) End() int64 { return h.Begin + int64(len(h.buf)) }

// Restart empties the history; the next sample has index at.
func (h *History) Restart(at int64) { h.buf, h.Begin = h.buf[:0], at }

// absurd is beyond what any input means; such samples, and what is no number, count as silence.
const absurd = 1e6

var absurdBits = math.Float64bits(absurd)

// Add appends x, which must be shorter than what is kept.
func (h *History) Add(x []float64) {
	if len(h.buf)+len(x) > cap(h.buf) {
		n := len(h.buf) - h.keep
		copy(h.buf, h.buf[n:])
		h.buf = h.buf[:h.keep]
		h.Begin += int64(n)
	}
	n := len(h.buf)
	h.buf = append(h.buf, x...)
	for i, v := range h.buf[n:] {
		if math.Float64bits(v)&^(1<<63) >= absurdBits { // what is no number, too
			h.buf[n+i] = 0
		}
	}
}

// From returns the samples [at, to), or what is left of them.
func (h *History) From(at, to int64) []float64 {
	at = max(at, h.Begin)
	to = min(to, h.End())
	if at >= to {
		return nil
	}
	return h.buf[at-h.Begin : to-h.Begin]
}
