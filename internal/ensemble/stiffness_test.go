package ensemble

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestWrongStiffness tells the reader a stiffness, as computed from string data, that is wrong by up
// to a factor of eight either way: half a gauge and a core diameter guessed wrong do that. No
// reading may be more than a cent and 5σ off, none called in tune that is more than a cent off.
func TestWrongStiffness(t *testing.T) {
	const computed = 1 // how well the stiffness of string data is said to be known, as in the engine
	var all tally
	wrong, tuned := 0, 0
	for _, chord := range chords {
		for seed := range uint64(*trials) {
			for _, real := range []bool{false, true} {
				c := trial{hz: chord.hz, spread: 3, real: real, seconds: 1, snr: 40, muted: -1, seed: seed, rate: 48000}
				rng := rand.New(rand.NewPCG(seed, 11))
				x, told, offsets := c.make()
				for i := range told {
					told[i].B = stringB(told[i].Hz) * math.Exp2(3*(2*rng.Float64()-1))
					told[i].BPart = computed
				}
				r, err := NewReader(Config{SampleRate: c.rate, Strings: told})
				if err != nil {
					t.Fatal(err)
				}
				got, err := r.Read(x)
				if err != nil {
					t.Fatal(err)
				}
				all.add(c, got, offsets)
				for i, s := range got {
					if !s.Sounding {
						continue
					}
					off := math.Abs(s.Cents - offsets[i])
					if off > 1 && off > 5*s.SigmaCents {
						wrong++
						t.Logf("%s, real %v, seed %d, string %d: %+.2f ± %.2f, true %+.2f; B %.2g, told %.2g, read %.2g", chord.name, real, seed, i+1, s.Cents, s.SigmaCents, offsets[i], stringB(told[i].Hz), told[i].B, s.B)
					}
					if off > 1 && math.Abs(s.Cents) <= 1 && s.SigmaCents <= 1 {
						tuned++
						t.Logf("%s, real %v, seed %d, string %d: %+.2f ± %.2f called in tune, true %+.2f; B %.2g, told %.2g, read %.2g", chord.name, real, seed, i+1, s.Cents, s.SigmaCents, offsets[i], stringB(told[i].Hz), told[i].B, s.B)
					}
				}
			}
		}
	}
	t.Logf("seeds 0 to %d: %v; %d off by more than 1 cent and 5σ, %d of them or others called in tune within a cent", *trials-1, &all, wrong, tuned)
	if wrong > 0 || tuned > 0 || all.missing() > 0.02 {
		t.Errorf("%d readings wrong, %d called in tune that are not, %.1f %% missing; want none, none, 2 %% at most", wrong, tuned, 100*all.missing())
	}
}
