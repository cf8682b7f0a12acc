package pitch_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/pitch"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// plucked adds a string at hz to x, plucked at begin and stopped at end (s), as loud as any other at first.
func plucked(x []float64, hz, begin, end float64, rng *rand.Rand) {
	one := make([]float64, len(x))
	sound.String(hz).Voice(rate, rng).Add(one, -begin)
	var power float64
	first := one[int(begin*rate):][:int(0.1*rate)]
	for _, v := range first {
		power += v * v / float64(len(first))
	}
	for i, v := range one {
		// A finger stops a string within some 10 ms.
		x[i] += 0.05 * v / math.Sqrt(power) * math.Exp(-max(0, float64(i)/rate-end)/0.01)
	}
}

// A string that is plucked while another rings, no softer, is read as if it rang alone: its own pitch (the truth
// by construction), though the two together have the period of a note far below both; and also where the other
// is stopped at the same time, or later, or is the same string, tuned anew.
func TestStringOverAnother(t *testing.T) {
	const far = 10.0
	for _, c := range []struct {
		name           string
		first, second  float64 // Hz
		stopped, until float64 // s at which the first string is stopped; at which the readings are judged
		within         float64 // cents
	}{
		{"a fourth", 110, 147.08, far, 3.5, 0.05},
		{"a fourth, wound strings", 82.41, 110.19, far, 3.5, 0.05},
		{"a third", 196, 247.37, far, 3.5, 0.1},
		{"a fifth", 146.83, 220.4, far, 3.5, 0.1},
		{"downwards", 147.08, 110, far, 3.5, 0.1},
		{"stopped by the hand that plucks", 110, 147.08, 1.5, 3.5, 0.05},
		{"stopped just before", 110, 147.08, 1.45, 3.5, 0.05},
		{"stopped later", 110, 147.08, 2, 3.5, 0.05},
		{"the same string", 110, 110.6, 1.5, 3.5, 0.05},
		{"the same string, hardly moved", 110, 110.05, 1.5, 3.5, 0.05},
	} {
		for seed := range uint64(4) {
			t.Run(fmt.Sprintf("%s, seed %d", c.name, seed), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(seed, 17))
				x := make([]float64, int(3.6*rate))
				for i := range x {
					x[i] = 1e-5 * rng.NormFloat64()
				}
				plucked(x, c.first, 0.5, c.stopped, rng)
				plucked(x, c.second, 1.5, far, rng)
				for _, live := range []bool{true, false} {
					h := listen(t, pitch.Config{Live: live}, x, 0)
					if len(h.notes) != 2 {
						t.Errorf("live %v: %d notes, want 2", live, len(h.notes))
					}
					for i, n := range h.notes {
						hz := [2]float64{c.first, c.second}[min(i, 1)]
						if off := math.Abs(stiffstring.Cents(n.F1Hz, hz)); off > c.within+3*n.SigmaCents {
							t.Errorf("live %v: note %d is %.3f Hz ± %.3f cents, want %g Hz", live, i+1, n.F1Hz, n.SigmaCents, hz)
						}
					}
					wrong, read := 0, 0
					for _, r := range h.readings {
						if at := float64(r.At) / rate; at < 1.6 || at > c.until || r.State != pitch.Sounding {
							continue
						}
						read++
						if off := math.Abs(stiffstring.Cents(r.F1Hz, c.second)); off > c.within+3*r.SigmaCents {
							wrong++
						}
					}
					if live && (read < 150 || wrong > read/20) {
						t.Errorf("%d of %d readings of the second string are wrong", wrong, read)
					}
				}
			})
		}
	}
}
