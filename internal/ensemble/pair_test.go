package ensemble

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// pair reads two strings that sound together for a second at 40 dB, the second off its target.
func pair(t *testing.T, hz [2]float64, b, off float64, seed uint64) []StringReading {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 9))
	x, part := make([]float64, 48000), make([]float64, 48000)
	var strings []String
	for i, f := range hz {
		s := sound.String(f * math.Exp(float64(i)*off/stiffstring.CentsPerNeper))
		s.B, s.Partials, s.Pluck, s.SNRdB = b, int(2600/f), 0.09+0.1*rng.Float64(), 40
		s.Render(part, 48000, rng)
		for j, v := range part {
			x[j] += 0.3 * v
		}
		strings = append(strings, String{Number: i + 1, Hz: f})
	}
	r, err := NewReader(Config{SampleRate: 48000, Strings: strings})
	if err != nil {
		t.Fatal(err)
	}
	got, err := r.Read(x)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// TestOctaves holds the reader to the limits of what can be told apart: flexible strings an octave
// or a twelfth apart share every partial of the upper one, so that as the detuning goes to nothing
// the upper string cannot be told from a silent one (only the product of amplitude and detuning
// is seen); stiffness parts their upper partials; a fifth leaves free partials always.
func TestOctaves(t *testing.T) {
	for _, upper := range []float64{165, 220, 330} {
		for _, b := range []float64{0, 8e-5} {
			for _, off := range []float64{0, 0.2, 1, 5, 20} {
				for seed := range uint64(3) {
					got := pair(t, [2]float64{110, upper}, b, off, seed)
					low, high := got[0], got[1]
					if !low.Sounding || math.Abs(low.Cents) > 2.6*low.SigmaCents {
						t.Errorf("110 and %g Hz, B %g, %g cents, seed %d: lower string sounding %v, %+.3f ± %.3f", upper, b, off, seed, low.Sounding, low.Cents, low.SigmaCents)
					}
					if e := high.Cents - off; high.F1Hz > 0 && math.Abs(e) > 2.6*high.SigmaCents {
						t.Errorf("110 and %g Hz, B %g, %g cents, seed %d: upper string hidden %v, %+.3f ± %.3f", upper, b, off, seed, high.Hidden, e, high.SigmaCents)
					}
					together := b == 0 && upper != 165
					if together && off == 0 && !high.Hidden {
						t.Errorf("110 and %g Hz, flexible, in tune, seed %d: upper string sounding %v ± %.3f, cannot be known", upper, seed, high.Sounding, high.SigmaCents)
					}
					if (!together || off >= 1) && !high.Sounding {
						t.Errorf("110 and %g Hz, B %g, %g cents, seed %d: upper string not read", upper, b, off, seed)
					}
				}
			}
		}
	}
}

// TestUnison reads two strings tuned alike. A second holds a beat of 1 Hz or more: 20 cents at
// 110 Hz are 1.3 Hz. Far closer there is one reading, which lies between the two.
func TestUnison(t *testing.T) {
	for seed := range uint64(4) {
		for _, off := range []float64{1, 20} {
			got := pair(t, [2]float64{110, 110}, 8e-5, off, seed)
			a, b := got[0], got[1]
			if a.Cents > b.Cents {
				a, b = b, a // which is which cannot be known
			}
			if off == 20 {
				if !a.Sounding || !b.Sounding || math.Abs(a.Cents) > 0.5 || math.Abs(b.Cents-off) > 0.5 {
					t.Errorf("20 cents apart, seed %d: %+.2f and %+.2f", seed, a.Cents, b.Cents)
				}
				continue
			}
			for _, r := range got {
				if r.Sounding && (r.Cents < -1 || r.Cents > 2 || r.SigmaCents < 1) {
					t.Errorf("1 cent apart, seed %d: %+.2f ± %.2f, want between the two with a σ that says so", seed, r.Cents, r.SigmaCents)
				}
			}
		}
	}
}
