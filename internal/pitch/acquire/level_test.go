package acquire

import (
	"math"
	"testing"

	"tunerd/internal/pitch/stringfit"
)

// TestSwellIsOneOnset has a low note swell within its first period: that is one pluck. The same step up a
// tenth of a second later is another.
func TestSwellIsOneOnset(t *testing.T) {
	for _, c := range []struct {
		after float64 // s from the first step to the second
		want  int
	}{{2.0 / 150, 1}, {15.0 / 150, 2}} {
		frame := 4 * stringfit.SubBlock(testRate)
		l := NewLevels(testRate, frame)
		rng := newRand(5)
		onsets := 0
		x := make([]float64, frame)
		for at := range int(0.8 * testRate / float64(frame)) {
			for i := range x {
				s := float64(at*frame+i)/testRate - 0.5
				level := 0.0
				switch {
				case s > c.after:
					level = 0.3
				case s > 0:
					level = 0.03
				}
				x[i] = 0.005*rng.NormFloat64() + level*math.Sin(2*math.Pi*150*s) // its steps fall where it is 0
			}
			if l.Add(x, true) {
				onsets++
			}
		}
		if onsets != c.want {
			t.Errorf("a second step after %g s: %d onsets, want %d", c.after, onsets, c.want)
		}
	}
}
