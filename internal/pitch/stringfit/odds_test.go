package stringfit

import (
	"math"
	"testing"

	"tunerd/internal/stiffstring"
)

// readingOf returns a reading of partials that are all known to within sigma cents and stand 30 dB clear.
func readingOf(f1, sigma float64, numbers []int, offs []float64) Result {
	r := Result{F1Hz: f1, B: 6e-5, SNRdB: 20}
	for i, n := range numbers {
		r.Partials = append(r.Partials, Partial{N: n, OffCents: offs[i], SigmaCents: sigma, LevelDB: -20, Margin: 30})
	}
	return r
}

// Partials as real strings have them, off their law by a few tenths of a cent, and as other things have.
func TestOddsOfAString(t *testing.T) {
	for _, tc := range []struct {
		name    string
		numbers []int
		offs    []float64
		sigma   float64
		string  bool
	}{
		{"all but the lowest", []int{2, 3, 4, 5, 6}, []float64{0.4, -0.3, 0.1, 0.2, -0.2}, 0.3, true},
		{"all but the lowest, not known well", []int{2, 3, 4, 5, 6}, []float64{4, -3, 1, 2, -2}, 3, true},
		{"plucked at a third", []int{2, 4, 5, 7, 8, 10, 11}, []float64{0.4, 0.1, 0.2, -0.2, 0.3, -0.1, 0.1}, 0.3, true},
		{"high ones alone", []int{9, 10, 11, 12, 13, 14}, []float64{0.2, -0.1, 0.3, 0, -0.2, 0.1}, 0.2, true},
		{"one high one beside the low ones", []int{2, 3, 4, 5, 23}, []float64{0.4, -0.3, 0.1, 0.2, 0.3}, 0.3, true},
		{"two, a fifth apart", []int{2, 3}, []float64{2, -2}, 1, false},
		{"few and far apart", []int{3, 7, 16}, []float64{0.2, -0.3, 0.1}, 0.3, false},
		{"a bell in just ratios", []int{3, 6, 7, 9, 12, 15, 16, 18}, []float64{-3, -3, 21, 4, -3.5, 6, -7, 2}, 1, false},
	} {
		r := readingOf(110, tc.sigma, tc.numbers, tc.offs)
		if odds := odds(r.F1Hz, r.B, r.Partials); odds > -1.0 != tc.string {
			t.Errorf("%s: odds of %.1f nepers for a string", tc.name, odds)
		}
	}
}

// Partials anywhere, given the numbers they happen to lie nearest to: one in a hundred such sets may pass for a
// string's.
func TestOddsOfChance(t *testing.T) {
	rng := newRand(1)
	const sets = 2000
	passed := 0
	for range sets {
		var r Result
		r.F1Hz, r.B, r.SNRdB = 110, 6e-5, 20
		for hz := 2.0; len(r.Partials) < 6; {
			hz *= math.Exp((0.5 + rng.Float64()) * peakApart / stiffstring.CentsPerNeper)
			n, off := stiffstring.Nearest(r.F1Hz*hz, r.F1Hz, r.B)
			r.Partials = append(r.Partials, Partial{N: n, OffCents: off, SigmaCents: 1, LevelDB: -20, Margin: 30})
		}
		if odds(r.F1Hz, r.B, r.Partials) > -1.0 {
			passed++
		}
	}
	if passed > sets/100 {
		t.Errorf("seed %d: %d of %d sets of partials pass for a string's", testSeed, passed, sets)
	}
}
