package setup

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// TestFitCovers checks the standard errors: over many invented instruments the truth lies within
// 1.96 of them in 95 % of all cases, not much less and not much more. Seeds are fixed.
func TestFitCovers(t *testing.T) {
	for _, x := range []struct {
		name    string
		options PlanOptions
		hand    float64 // cents between plucks; the check has to find out
		finds   float64 // part of the displaced frets
	}{
		{"guitar-12edo", PlanOptions{}, 0.3, 0.95},
		{"guitar-41edo-alternate", PlanOptions{}, 0.3, 0.8}, // most frets are heard on one string
		{"guitar-12edo", PlanOptions{Strings: []int{6}, Notes: 14}, 0.3, 0.9},
		{"guitar-41edo-alternate", PlanOptions{}, 1, 0.1},
		{"guitar-12edo", PlanOptions{}, 0.05, 0.95},
	} {
		t.Run(fmt.Sprint(x.name, x.options.Strings, x.hand), func(t *testing.T) {
			board := boardOf(t, x.name)
			plan := planOf(t, board, x.options)
			rng := rand.New(rand.NewPCG(7, 41))
			var nut, saddle, bad coverage
			found, trials := 0, 120
			if len(x.options.Strings) == 1 {
				trials = 360 // one move each: of 120 chance makes 2 % more or less
			}
			for range trials {
				w := newWorld(board)
				w.hand = x.hand
				for i := range board.Strings {
					w.pitch[i] = 5 * rng.NormFloat64()
					w.b[i] = 1e-4 * math.Exp(0.5*rng.NormFloat64())
					w.ends[i] = Ends{NutMM: 0.4 * rng.NormFloat64(), SaddleMM: 1.5 * rng.NormFloat64()}
				}
				for k := range board.Strings[0].Frets {
					w.fret[k+1] = UsualModel.SlotMM * rng.NormFloat64()
				}
				off := somewhere(plan, rng)
				w.fret[off] = 0.5 * float64(1-2*rng.IntN(2))
				r, err := w.play(t, plan, rng).Fit()
				if err != nil {
					t.Fatal(err)
				}
				for _, s := range r.Strings {
					i, _ := board.at(s.Number)
					want := w.bestMove(i)
					nut.see(s.Move.NutMM-want.NutMM, s.MoveSigma.NutMM)
					saddle.see(s.Move.SaddleMM-want.SaddleMM, s.MoveSigma.SaddleMM)
				}
				for _, f := range r.Frets {
					if f.Fret == off && f.Off {
						found++
					}
					if f.Off {
						bad.see(f.MM-w.fret[f.Fret], f.Sigma)
					}
				}
			}
			t.Logf("nut moves %s, saddle moves %s, displaced fret %s; found %d of %d", &nut, &saddle, &bad, found, trials)
			for what, c := range map[string]*coverage{"nut move": &nut, "saddle move": &saddle} {
				if p := c.share(); p < 0.93 || p > 0.985 {
					t.Errorf("%s: %.1f %% within 1.96 standard errors, want 95 (93 to 98.5)", what, 100*p)
				}
			}
			// Where few are found, those are the ones that chance made larger.
			if p := bad.share(); p < 0.92 && x.finds >= 0.8 {
				t.Errorf("displaced fret: %.1f %% within 1.96 standard errors, want 95 (92 at least)", 100*p)
			}
			if float64(found) < x.finds*float64(trials) {
				t.Errorf("a fret 0.5 mm off was found in %d of %d trials, want %.0f %%", found, trials, 100*x.finds)
			}
		})
	}
}

// somewhere returns a fret of the plan within the middle of the board.
func somewhere(p *Plan, rng *rand.Rand) int {
	var frets []int
	for _, s := range p.Steps {
		if s.Fret >= 5 && s.Fret <= 16 {
			frets = append(frets, s.Fret)
		}
	}
	return frets[rng.IntN(len(frets))]
}

// A coverage counts how often an error lies within 1.96 of its standard error.
type coverage struct {
	within, of int
	sum        float64 // of standard errors
}

func (c *coverage) see(err, sigma float64) {
	c.of++
	c.sum += sigma
	if math.Abs(err) <= 1.96*sigma {
		c.within++
	}
}

func (c *coverage) share() float64 { return float64(c.within) / float64(c.of) }

func (c *coverage) String() string {
	return fmt.Sprintf("%.1f %% of %d (±%.3f)", 100*c.share(), c.of, c.sum/float64(c.of))
}
