package pitch

import "math"

// A history keeps the latest samples in one piece.
type history struct {
	buf   []float64 // all that is held
	begin int64     // index of buf[0]
	keep  int       // samples that must stay
}

func newHistory(keep int) *history {
	return &history{buf: make([]float64, 0, 4*keep), keep: keep} // room, so that they are moved seldom
}

// end returns the index behind the last sample.
func (h *history) end() int64 { return h.begin + int64(len(h.buf)) }

// restart empties the history; the next sample has index at.
func (h *history) restart(at int64) { h.buf, h.begin = h.buf[:0], at }

// absurd is beyond what any input means; such samples, and what is no number, count as silence.
const absurd = 1e6

var absurdBits = math.Float64bits(absurd)

// add appends x, which must be shorter than what is kept.
func (h *history) add(x []float64) {
	if len(h.buf)+len(x) > cap(h.buf) {
		n := len(h.buf) - h.keep
		copy(h.buf, h.buf[n:])
		h.buf = h.buf[:h.keep]
		h.begin += int64(n)
	}
	n := len(h.buf)
	h.buf = append(h.buf, x...)
	for i, v := range h.buf[n:] {
		if math.Float64bits(v)&^(1<<63) >= absurdBits { // what is no number, too
			h.buf[n+i] = 0
		}
	}
}

// from returns the samples [at, to), or what is left of them.
func (h *history) from(at, to int64) []float64 {
	at = max(at, h.begin)
	to = min(to, h.end())
	if at >= to {
		return nil
	}
	return h.buf[at-h.begin : to-h.begin]
}
