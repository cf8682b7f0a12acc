package pitch_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/pitch"
)

// A struck is something struck whose partials belong to no string.
type struck struct {
	name   string
	ratios []float64 // of the partials' frequencies to the named pitch
	t60    float64   // s, of the lowest; others as √ratio faster
	// lowest says that the lowest partial stands alone so clearly that its own frequency is a fair reading.
	lowest bool
	// misleadsBelow is the named pitch (Hz) below which it is still given a string's pitch.
	misleadsBelow float64
}

// bars returns the ratios of a bar's transverse modes: the squares of the roots of Euler and
// Bernoulli's frequency equation over that of the first.
func bars(roots ...float64) []float64 {
	var out []float64
	for _, r := range roots {
		out = append(out, r*r/(roots[0]*roots[0]))
	}
	return out
}

var struckThings = []struck{
	// Partials of a minor-third bell: N. H. Fletcher and T. D. Rossing, The Physics of Musical
	// Instruments, 2nd ed., ch. 21 (from memory), as measured: in just ratios all but one of them would be
	// partials of a string a twelfth below the lowest. Of a low one a sixth of a second does not tell the third
	// partial from those of a string that sounds at the lowest.
	{name: "bell", ratios: []float64{0.5, 1, 1.183, 1.506, 2, 2.514, 2.662, 3.011, 4.166, 5.433}, t60: 8, misleadsBelow: 150},
	{name: "free bar", ratios: bars(4.73004, 7.85320, 10.99561, 14.13717), t60: 1.5, lowest: true},
	{name: "clamped bar", ratios: bars(1.87510, 4.69409, 7.85476), t60: 1.5, lowest: true},
	// A chime rings in the modes of a free tube, of which the first three hardly sound.
	{name: "tubular bell", ratios: bars(14.13717, 17.27876, 20.42035, 23.56194, 26.70354), t60: 4},
	// Zeros of the Bessel functions J0, J1, J2, J0, J3, J1 over the first.
	{name: "drum head", ratios: []float64{1, 1.5933, 2.1355, 2.2954, 2.6531, 2.9173}, t60: 0.8, lowest: true},
	{name: "glass", ratios: []float64{1, 2.32, 4.25, 6.63, 9.38}, t60: 2, lowest: true},
	{name: "two partials, a tritone apart", ratios: []float64{1, math.Sqrt2}, t60: 4},
	{name: "cluster", ratios: []float64{1, 1.31, 1.73, 2.11, 2.57, 2.89, 3.41}, t60: 3},
}

func (s struck) render(hz float64, stream uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, stream))
	x := make([]float64, int(2*rate))
	for i := range x {
		x[i] = 1e-5 * rng.NormFloat64()
	}
	const at = 0.4 // s
	for k, ratio := range s.ratios {
		phase := 2 * math.Pi * rng.Float64()
		decay := math.Log(1000) / s.t60 * math.Sqrt(ratio/s.ratios[0])
		for i := int(at * rate); i < len(x); i++ {
			t := float64(i)/rate - at
			x[i] += 0.08 / (1 + 0.15*float64(k)) * math.Exp(-decay*t) * math.Cos(2*math.Pi*hz*ratio*t+phase)
		}
	}
	return x
}

// What is struck and has no harmonic partials is said to be so, and not given a pitch that nothing
// sounds at. A tenth of the readings is granted to the strike itself.
func TestStruckThingsHaveNoStringsPitch(t *testing.T) {
	for _, s := range struckThings {
		for stream, hz := range []float64{180, 440, 900, 60, 90, 130, 300, 620, 1300} {
			if hz < s.misleadsBelow {
				continue
			}
			name := fmt.Sprintf("%s at %g Hz", s.name, hz)
			t.Run(name, func(t *testing.T) {
				fair := func(r *pitch.Reading) bool {
					return r.State != pitch.Sounding || s.lowest && math.Abs(cents(r.F1Hz, hz*s.ratios[0])) <= 3*r.SigmaCents+1
				}
				for _, live := range []bool{true, false} {
					h := listen(t, pitch.Config{Live: live}, s.render(hz, uint64(stream)), 0)
					wrong := 0
					for i := range h.readings {
						if !fair(&h.readings[i]) {
							wrong++
						}
					}
					if wrong > len(h.readings)/10 {
						t.Errorf("live %v, seed %d: %d of %d readings give a pitch", live, seed, wrong, len(h.readings))
					}
					for _, n := range h.notes {
						if !fair(&n.Reading) {
							t.Errorf("live %v, seed %d: a note of %.2f Hz ± %.3f cents, %.3f of the named pitch", live, seed, n.F1Hz, n.SigmaCents, n.F1Hz/hz)
						}
					}
				}
			})
		}
	}
}

// A bell that is given no pitch is said to ring, and where: at its own partials.
func TestBellIsSaidToRing(t *testing.T) {
	const hz = 900
	for _, s := range struckThings[:1] {
		h := listen(t, pitch.Config{Live: true}, s.render(hz, 2), 0)
		rings := 0
		for _, r := range h.readings {
			if r.State != pitch.Inharmonic {
				continue
			}
			rings++
			for _, p := range r.Partials {
				nearest := math.Inf(1)
				for _, ratio := range s.ratios {
					nearest = math.Min(nearest, math.Abs(cents(p.Hz, hz*ratio)))
				}
				if p.N != 0 || nearest > 20 {
					t.Fatalf("%s, seed %d: partial %d of %.2f Hz is %.1f cents from any of its own", s.name, seed, p.N, p.Hz, nearest)
				}
			}
		}
		if rings < 20 {
			t.Errorf("%s, seed %d: said to ring in %d readings of %d", s.name, seed, rings, len(h.readings))
		}
	}
}
