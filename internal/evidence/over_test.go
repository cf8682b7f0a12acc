package evidence

import (
	"math"
	"testing"

	"tunerd/internal/pitch"
)

// A recorded string that begins while another, as loud, rings on is read as itself, near its reference pitch in the
// manifest. What a real string does on its way down is not foretold exactly, so more is allowed than σ says.
func TestRecordedStringOverAnother(t *testing.T) {
	clips, err := readClips()
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]clip{}
	for _, c := range clips {
		named[c.File] = c
	}
	for _, c := range []struct {
		first, second string
		after         float64 // s
	}{
		{"strat-A-As2.flac", "strat-G-A3.flac", 1.2},
		{"egtr-green-ord-G4.flac", "egtr-green-ord-C4.flac", 1},
		{"bassvi-spaghetti-E1-vl1.flac", "bassvi-spaghetti-G2-vl1.flac", 1.5},
	} {
		t.Run(c.first+" "+c.second, func(t *testing.T) {
			under, over := named[c.first], named[c.second]
			x, rate := readClip(t, under)
			y, other := readClip(t, over)
			if rate != other {
				t.Fatalf("sample rates of %d and %d Hz", rate, other)
			}
			at := int(c.after * float64(rate))
			mix := make([]float64, max(len(x), at+len(y)))
			copy(mix, x)
			for i, v := range y {
				mix[at+i] += v
			}
			for i := range mix {
				mix[i] /= 4
			}
			var last *pitch.Note
			tracker, err := pitch.NewTracker(pitch.Config{SampleRate: float64(rate), OnNote: func(n *pitch.Note) {
				if last == nil && float64(n.Start) > (c.after-0.05)*float64(rate) {
					kept := *n
					last = &kept
				}
			}})
			if err != nil {
				t.Fatal(err)
			}
			tracker.Push(mix, 0, nil)
			tracker.Flush()
			if last == nil {
				t.Fatal("the second string is no note")
			}
			off := cents(last.F1Hz, over.RefHz)
			t.Logf("%+.2f ± %.2f cents", off, last.SigmaCents)
			if math.Abs(off) > 1+3*last.SigmaCents || last.SigmaCents > 3 {
				t.Errorf("%.2f Hz ± %.2f cents, the reference says %.2f Hz", last.F1Hz, last.SigmaCents, over.RefHz)
			}
		})
	}
}
