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
					o.Remove(x[at:min(at+128, len(x))])
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

// A note that begins slowly, with a thump below it or without, is no offset, whatever its first moments look like:
// however far it dies down, nothing of it is taken for one.
func TestOffsetLeavesASlowStartAlone(t *testing.T) {
	const fs, touch = 44100.0, 0.006
	for _, hz := range []float64{62, 494} {
		for _, rise := range []float64{0.001, 0.005, 0.02} {
			for _, thump := range []float64{0, 0.1} {
				for turn := range 4 {
					x := make([]float64, int(2*fs))
					want := make([]float64, len(x))
					for i := range x {
						s := float64(i)/fs - touch
						swell := 1 - math.Exp(-s/rise)
						if s < 0 { // the finger moves the string before it lets it go
							x[i] = 0.05 * math.Sin(math.Pi/2*(s/touch+1))
							continue
						}
						x[i] = swell * (math.Exp(-6*s)*math.Sin(2*math.Pi*(hz*s+float64(turn)/4)) + thump*math.Exp(-30*s)*math.Cos(2*math.Pi*(11*s+float64(turn)/4)))
					}
					copy(want, x)
					o := NewOffset(fs)
					n := o.Waits()
					o.Begin(x[:n])
					for at := n; at < len(x); at += 128 {
						o.Remove(x[at:min(at+128, len(x))])
					}
					// What is left of the note after two seconds is 100 dB below its start.
					if end := len(x) - 1; math.Abs(x[end]-want[end]) > 1e-4 {
						t.Errorf("%g Hz, rise %g s, thump %g, %d/4 of a turn: %.2g was taken off", hz, rise, thump, turn, want[end]-x[end])
					}
				}
			}
		}
	}
}

// An offset that jumps while nothing sounds is followed within half a second.
func TestOffsetThatJumps(t *testing.T) {
	const fs = 48000.0
	x := make([]float64, int(2*fs))
	for i := range x {
		x[i] = 1e-3 * math.Sin(2*math.Pi*1234.5*float64(i)/fs)
		if i > len(x)/2 {
			x[i] += 0.1
		}
	}
	o := NewOffset(fs)
	o.Begin(x[:o.Waits()])
	for at := int(offsetFirstS * fs); at < len(x); at += 128 {
		o.Remove(x[at:min(at+128, len(x))])
	}
	if left := x[int(1.52*fs)]; math.Abs(left) > 2e-3 {
		t.Errorf("%.3g is left of 0.1", left)
	}
}
