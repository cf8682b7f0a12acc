package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// A note that begins 0.9 s after another has ended is read as if there had been none: the same samples of it,
// in the same noise, give the same readings.
func TestNoteDoesNotDependOnTheOneBefore(t *testing.T) {
	const (
		g3          = 196.0
		at, dampedS = 0.3, 2.2 // s, of the earlier note and of its end
		apart       = 0.9      // s from there to the next
	)
	pluck := func(hz float64, change func(*sound.StringSpec)) func(scene) {
		return func(s scene) {
			spec := sound.String(hz)
			change(&spec)
			spec.DampS = dampedS - at
			s.pluck(spec, at, -20, newRand(11))
		}
	}
	earlier := map[string]func(scene){
		"the same string": pluck(g3, func(*sound.StringSpec) {}),
		"another string":  pluck(82.407, func(*sound.StringSpec) {}),
		"a retuned string": pluck(g3, func(s *sound.StringSpec) {
			s.Ramp = sound.Ramp{Start: 0.5, End: dampedS - at, Cents: 8 * (dampedS - at - 0.5)}
		}),
		"a string that glides far": pluck(g3, func(s *sound.StringSpec) { s.GlideCents, s.GlideTau = 30, 0.3 }),
		"a pitch that swings": func(s scene) {
			for i := int(at * s.fs); i < int(dampedS*s.fs); i++ {
				u := float64(i)/s.fs - at
				phase := 2 * math.Pi * g3 * (u + 0.004*math.Sin(2*math.Pi*5*u)/5)
				for k := 1.0; k < 10; k++ {
					s.x[i] += 0.1 / k * math.Sin(k*phase)
				}
			}
		},
	}
	for name, add := range earlier {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, live := range []bool{true, false} {
				var heard [2]hearing
				for i := range heard {
					s := newScene(dampedS+apart+1.2, testRate, -80, newRand(12))
					if i == 1 {
						add(s)
					}
					s.pluck(sound.String(g3), dampedS+apart, -20, newRand(13))
					heard[i] = listen(t, Config{Live: live}, s.x, 512)
				}
				begins := int64((dampedS + apart/2) * testRate)
				alone, after := heard[0].since(begins), heard[1].since(begins)
				if len(alone) < 1 || len(alone) != len(after) {
					t.Fatalf("live %v: %d readings of the later note alone, %d after the other", live, len(alone), len(after))
				}
				for i := range alone {
					a, b := &alone[i], &after[i]
					off := stiffstring.Cents(b.F1Hz, a.F1Hz)
					if a.At != b.At || math.Abs(off) > 0.001 || math.Abs(b.SigmaCents/a.SigmaCents-1) > 0.05 {
						t.Fatalf("live %v: %.3f s after its pluck, alone %s, after the other note %+.4f cents from there, %s", live,
							float64(a.At)/testRate-dampedS-apart, a.figures(), off, b.figures())
					}
				}
			}
		})
	}
}

// since returns what was read of notes that began at a sample or later: the readings, then the notes.
func (h hearing) since(at int64) []Reading {
	var out []Reading
	for _, r := range h.sounding() {
		if r.Onset >= at {
			out = append(out, r)
		}
	}
	for _, n := range h.notes {
		if n.Start >= at {
			out = append(out, n.Reading)
		}
	}
	return out
}

func (r *Reading) figures() string {
	return fmt.Sprintf("%.4f Hz ± %.4f cents at sample %d", r.F1Hz, r.SigmaCents, r.At)
}
