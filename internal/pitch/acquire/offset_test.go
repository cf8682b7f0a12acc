package acquire

import (
	"fmt"
	"math"
	"testing"
)

// A note of 31 to 900 Hz with an offset of 0.3 of its peak, that begins before the stream, with it or within what is
// waited for: next to nothing of the offset may be left in the sound.
func TestOffsetIsTakenOut(t *testing.T) {
	const fs, dc = 48000.0, 0.3
	for _, hz := range []float64{31, 82, 300, 900} {
		for _, onset := range []float64{-1, 0.005, 0.03, 0.2} {
			t.Run(fmt.Sprintf("%g Hz from %g s", hz, onset), func(t *testing.T) {
				x := make([]float64, int(0.5*fs))
				want := make([]float64, len(x))
				for i := range x {
					if s := float64(i) / fs; s > onset {
						want[i] = math.Sin(2*math.Pi*hz*(s-onset) + 1)
					}
					x[i] = want[i] + dc
				}
				o := NewOffset(fs)
				n := o.Waits()
				o.Begin(x[:n])
				if o.Waits() != 0 {
					t.Fatal("it still waits")
				}
				for at := n; at < len(x); at += 128 {
					o.Remove(x[at:min(at+128, len(x))], false)
				}
				var left float64
				for i := range x {
					left += (x[i] - want[i]) / float64(len(x))
				}
				if math.Abs(left) > 0.1*dc {
					t.Errorf("an offset of %.3f is left of %g", left, dc)
				}
			})
		}
	}
}

// A low note without an offset is left as it is: its own mean over a first moment is none.
func TestOffsetLeavesALowNoteAlone(t *testing.T) {
	const fs = 48000.0
	for _, hz := range []float64{25, 31, 41} {
		for turn := range 8 {
			x := make([]float64, int(offsetFirstS*fs))
			for i := range x {
				x[i] = math.Sin(2 * math.Pi * (hz*float64(i)/fs + float64(turn)/8))
			}
			o := NewOffset(fs)
			o.Begin(x)
			if got := x[0] - math.Sin(2*math.Pi*float64(turn)/8); math.Abs(got) > 0.01 {
				t.Errorf("%g Hz, %d/8 of a turn: %.3f was taken off", hz, turn, got)
			}
		}
	}
}
