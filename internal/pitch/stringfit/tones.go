package stringfit

import (
	"math"
	"math/cmplx"
)

// A Tone is a partial that dies down: its phasor, the real part of which sounds, and what that is
// multiplied by from sample to sample.
type Tone struct{ Now, Step complex128 }

// Tones appends to dst the partials of the last fit as they go on at sample index at, except those that are
// more than so many dB below the loudest.
func (w *fittedWindow) Tones(dst []Tone, at int64, leastDB float64) []Tone {
	m, s := &w.joint.model, &w.series
	after := (float64(at) - (s.middle() - 0.5)) / s.fs // s after the middle of the window
	loudest := 0.0
	for i := range w.joint.basis.part {
		p := &w.joint.basis.part[i]
		row := &m.row[p.row]
		w := 2 * math.Pi * m.hz(p.row, p.number)
		decay := max(0, row.alpha)
		now := row.c * cmplx.Rect(math.Exp(-row.alpha*(after-m.loudest(p.row))), w*after)
		if row.seen != found || Power(now) == 0 {
			continue
		}
		loudest = max(loudest, Power(now))
		dst = append(dst, Tone{now, cmplx.Rect(math.Exp(-decay/s.fs), w/s.fs)})
	}
	heard := dst[:0]
	for _, p := range dst {
		if Power(p.Now) > loudest*PowerOf(-leastDB) {
			heard = append(heard, p)
		}
	}
	return heard
}
