package pitch_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"tunerd/internal/pitch"
)

// drawPartials draws a sum of decaying sinusoids that need not belong to any string: coinciding and
// beating ones, one alone, beyond hearing, far too loud; with or without noise.
func drawPartials(t *rapid.T) []float64 {
	x := make([]float64, int(rapid.Float64Range(0.05, 0.8).Draw(t, "seconds")*rate))
	for range rapid.IntRange(0, 30).Draw(t, "partials") {
		hz := math.Exp(rapid.Float64Range(math.Log(5), math.Log(rate/2)).Draw(t, "ln hz"))
		amp := math.Pow(10, rapid.Float64Range(-100, 40).Draw(t, "dB")/20)
		decay := rapid.Float64Range(-1, 60).Draw(t, "decay")
		phase := rapid.Float64Range(0, 2*math.Pi).Draw(t, "phase")
		for i := rapid.IntRange(0, len(x)-1).Draw(t, "from"); i < len(x); i++ {
			s := float64(i) / rate
			x[i] += amp * math.Exp(-decay*s) * math.Cos(2*math.Pi*hz*s+phase)
		}
	}
	noise := math.Pow(10, rapid.Float64Range(-200, -20).Draw(t, "noise dB")/20)
	rng := rand.New(rand.NewPCG(seed, rapid.Uint64().Draw(t, "stream")))
	for i := range x {
		x[i] += noise * rng.NormFloat64()
	}
	return x
}

// sane fails unless a reading keeps its contract, whatever sounds.
func sane(t *rapid.T, r *pitch.Reading, minHz, maxHz float64) {
	for _, v := range []float64{r.F1Hz, r.SigmaCents, r.AttackF1Hz, r.Partial1Hz, r.B, r.BSigma, r.SNRdB, r.LevelDB, r.WindowS} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("not a number in %+v", *r)
		}
	}
	if r.State != pitch.Silent && r.Onset > r.At {
		t.Fatalf("the onset %d lies behind the newest sample %d", r.Onset, r.At)
	}
	if r.State != pitch.Sounding {
		return
	}
	const margin = 1.1 // a fit may leave the range of the search a little
	if !(r.F1Hz > minHz/margin && r.F1Hz < maxHz*margin) {
		t.Fatalf("reading of %g Hz, range %g to %g", r.F1Hz, minHz, maxHz)
	}
	if !(r.SigmaCents > 0 && r.BSigma >= 0 && r.WindowS > 0) {
		t.Fatalf("σ %g cents, σ of B %g, window of %g s", r.SigmaCents, r.BSigma, r.WindowS)
	}
	for i, p := range r.Partials {
		for _, v := range []float64{p.Hz, p.OffCents, p.SigmaCents, p.LevelDB, p.PhaseTurns} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("not a number in partial %+v", p)
			}
		}
		if i > 0 && p.N <= r.Partials[i-1].N || p.N < 1 || !(p.Hz > 0 && p.SigmaCents > 0 && p.PhaseTurns >= 0 && p.PhaseTurns <= 1) {
			t.Fatalf("partial %d of %+v", i, r.Partials)
		}
	}
}

// anyPartials holds live and whole-note tracking and the reading of a window to the contract.
func anyPartials(t *rapid.T) {
	x := drawPartials(t)
	for _, live := range []bool{true, false} {
		h := listen(t, pitch.Config{Live: live, MinHz: 25, MaxHz: 5000}, x, 0)
		for i := range h.readings {
			sane(t, &h.readings[i], 25, 5000)
		}
		for i := range h.notes {
			sane(t, &h.notes[i].Reading, 25, 5000)
		}
	}
	e, err := pitch.NewWindowEstimator(rate)
	if err != nil {
		t.Fatal(err)
	}
	if r, ok := e.Estimate(x, 60, 2000); ok {
		sane(t, &r, 60, rate/2) // a note an octave above its period is not held to the range
	}
}

func TestAnyPartials(t *testing.T) { rapid.Check(t, anyPartials) }

func FuzzPartials(f *testing.F) { f.Fuzz(rapid.MakeFuzz(anyPartials)) }
