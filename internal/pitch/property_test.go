package pitch

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// drawString draws any string that may be played, and how it is heard.
func drawString(t *rapid.T) sound.StringSpec {
	hz := math.Exp(rapid.Float64Range(math.Log(28), math.Log(1500)).Draw(t, "ln f1"))
	s := sound.String(hz)
	s.B = rapid.Float64Range(0, 1).Draw(t, "stiffness") * 3 * sound.DefaultB(hz)
	s.Partials = rapid.IntRange(6, 26).Draw(t, "partials")
	s.Pluck = rapid.Float64Range(0.05, 0.4).Draw(t, "pluck")
	s.RollOff = rapid.Float64Range(0.3, 2).Draw(t, "roll-off")
	s.T60 *= rapid.Float64Range(0.3, 2).Draw(t, "decay")
	s.ScatterCents = rapid.Float64Range(0, 0.3).Draw(t, "scatter")
	s.SNRdB = rapid.Float64Range(20, 60).Draw(t, "SNR")
	if rapid.Bool().Draw(t, "weak fundamental") {
		s.HighPassHz = 2 * hz
	}
	return s
}

// fair fails unless a reading is one of numbers, and near the truth as it says itself.
func fair(t *rapid.T, r Reading, hz float64) {
	off := stiffstring.Cents(r.F1Hz, hz)
	if !(math.Abs(off) <= 5*r.SigmaCents+3) || !(r.SigmaCents >= 0) || math.IsInf(r.SigmaCents, 0) {
		t.Fatalf("%g Hz is read as %g Hz, %+.2f ± %.3f cents", hz, r.F1Hz, off, r.SigmaCents)
	}
	for _, v := range []float64{r.B, r.BSigma, r.SNRdB, r.Partial1Hz, r.WindowS} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%g Hz: not a number in %+v", hz, r)
		}
	}
}

func TestAnyStringInAWindow(t *testing.T) {
	e, err := NewWindowEstimator(testRate)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := drawString(t)
		// Three and a half periods of it at least.
		window := 3.5/s.F1Hz + rapid.Float64Range(0.02, 0.4).Draw(t, "window")
		x := make([]float64, int(window*testRate))
		s.Render(x, testRate, rand.New(rand.NewPCG(testSeed, rapid.Uint64().Draw(t, "phases"))))
		if r, ok := e.Estimate(x, s.F1Hz/math.Sqrt2, s.F1Hz*math.Sqrt2); ok {
			fair(t, r, s.F1Hz)
		}
	})
}

func TestAnyStringInAStream(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawString(t)
		s.StartS = -rapid.Float64Range(0.1, 0.3).Draw(t, "pluck at")
		x := make([]float64, 33600)
		s.Render(x, testRate, rand.New(rand.NewPCG(testSeed, rapid.Uint64().Draw(t, "phases"))))
		tracker, err := NewTracker(Config{SampleRate: testRate, Live: true, OnNote: func(n *Note) { fair(t, n.Reading, s.F1Hz) }})
		if err != nil {
			t.Fatal(err)
		}
		tracker.Push(x, 0, func(r *Reading) {
			if r.State == Sounding {
				fair(t, *r, s.F1Hz)
			}
		})
		tracker.Flush()
	})
}
