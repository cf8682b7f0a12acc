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
func (f *Fitter) Tones(dst []Tone, at int64, leastDB float64) []Tone {
	j, s := &f.joint, &f.series
	after := (float64(at) - (s.middle() - 0.5)) / s.fs // s after the middle of the window
	loudest := 0.0
	for k, r := range j.active {
		w := 2 * math.Pi * j.hz(k)
		decay := max(0, j.alpha[r])
		now := j.c[r] * cmplx.Rect(math.Exp(-j.alpha[r]*(after-j.loudest(r))), w*after)
		if j.seen[r] != found || Power(now) == 0 {
			continue
		}
		loudest = max(loudest, Power(now))
		dst = append(dst, Tone{now, cmplx.Rect(math.Exp(-decay/s.fs), w/s.fs)})
	}
	heard := dst[:0]
	for _, p := range dst {
		if Power(p.Now) > loudest*math.Pow(10, -leastDB/10) {
			heard = append(heard, p)
		}
	}
	return heard
}
