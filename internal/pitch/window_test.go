package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/accuracy"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// estimator adapts a WindowEstimator to the accuracy runner.
func estimator(t *testing.T) func() accuracy.Estimate {
	return func() accuracy.Estimate {
		e, err := NewWindowEstimator(testRate)
		if err != nil {
			t.Fatal(err)
		}
		return func(x []float64, _, minHz, maxHz float64) (float64, float64, bool) {
			r, ok := e.Estimate(x, minHz, maxHz)
			return r.F1Hz, r.SigmaCents, ok
		}
	}
}

func noteOf(name string) accuracy.Note {
	for _, n := range accuracy.Notes {
		if n.Name == name {
			return n
		}
	}
	panic("no note " + name)
}

func cellsOf(condition accuracy.Condition, snrs ...float64) []accuracy.Cell {
	var cells []accuracy.Cell
	for _, name := range []string{"B0", "E2", "E4", "A4"} {
		for _, snr := range snrs {
			cells = append(cells, accuracy.Cell{Note: noteOf(name), WindowS: 0.2, SNRdB: snr, Condition: condition})
		}
	}
	return cells
}

func runCells(t *testing.T, trials int, cells []accuracy.Cell) []accuracy.Result {
	t.Helper()
	rep, err := accuracy.Run(t.Context(), accuracy.Config{SampleRate: testRate, Seed: testSeed, Trials: trials, Cells: cells, New: estimator(t)})
	if err != nil {
		t.Fatal(err)
	}
	return rep.Results
}

// The bound is that of Cramér and Rao, see package accuracy.
func TestWindowReachesTheBound(t *testing.T) {
	const trials = 60
	for _, r := range runCells(t, trials, cellsOf(accuracy.Condition{}, 20, 40)) {
		t.Logf("%v: RMSE %.5f cents, %.2f × bound, coverage %.2f", r.Cell, r.RMSE, r.Ratio(), r.Coverage())
		if r.Read != trials || r.Gross > 0 {
			t.Errorf("%v, seed %d: %d of %d read, %d gross errors", r.Cell, testSeed, r.Read, trials, r.Gross)
		}
		if !(r.Ratio() < 1.3) {
			t.Errorf("%v, seed %d: RMSE %.5f cents is %.2f × the bound, want at most 1.3", r.Cell, testSeed, r.RMSE, r.Ratio())
		}
		if !(r.Coverage() >= 0.85) {
			t.Errorf("%v, seed %d: ±1.96σ holds the truth in %.0f%% of trials, want 85 or more", r.Cell, testSeed, 100*r.Coverage())
		}
	}
}

func TestWindowSigmaHoldsOnRealEffects(t *testing.T) {
	const trials = 40
	for _, condition := range accuracy.Conditions[:2] { // scatter, second polarisation
		for _, r := range runCells(t, trials, cellsOf(condition, 40)) {
			t.Logf("%v: RMSE %.4f, median σ %.4f cents, coverage %.2f", r.Cell, r.RMSE, r.MedianSigma, r.Coverage())
			if r.Read != trials || r.Gross > 0 || !(r.Coverage() >= 0.85) {
				t.Errorf("%v, seed %d: %d of %d read, %d gross errors, coverage %.0f%%, want 85 or more",
					r.Cell, testSeed, r.Read, trials, r.Gross, 100*r.Coverage())
			}
		}
	}
}

// Without a bias the mean error of n trials is σ/√n; four of these and a hundredth of a cent.
func TestWindowHasNoBias(t *testing.T) {
	const trials = 20
	for _, b := range []float64{0, 1e-4, 3e-4} {
		condition := accuracy.Condition{Name: fmt.Sprintf("B = %g", b), Shape: func(s *sound.StringSpec) { s.B = b }}
		for _, r := range runCells(t, trials, cellsOf(condition, 40)) {
			if r.Read != trials || !(math.Abs(r.Bias) < 0.01+4*r.BoundCents/math.Sqrt(trials)) {
				t.Errorf("%v, seed %d: bias %+.4f cents over %d readings", r.Cell, testSeed, r.Bias, r.Read)
			}
		}
	}
}

// read estimates one window at sample rate fs.
func read(t *testing.T, x []float64, fs, hz float64) Reading {
	t.Helper()
	e, err := NewWindowEstimator(fs)
	if err != nil {
		t.Fatal(err)
	}
	r, ok := e.Estimate(x, hz/math.Sqrt2, hz*math.Sqrt2)
	if !ok {
		t.Fatalf("no pitch in %d samples of %g Hz", len(x), hz)
	}
	return r
}

func TestWindowInvariances(t *testing.T) {
	for _, hz := range []float64{30.868, 82.407, 329.628, 880} {
		spec := sound.String(hz)
		spec.SNRdB = 40
		x := make([]float64, 12000)
		spec.Render(x, testRate, newRand(1))
		x = x[:9600]
		want := read(t, x, testRate, hz)

		for _, gain := range []float64{0.01, -1, 100} {
			y := make([]float64, len(x))
			for i, v := range x {
				y[i] = gain * v
			}
			// Nothing but rounding differs; a fit may stop one step sooner, a tenth of σ.
			if r := read(t, y, testRate, hz); math.Abs(stiffstring.Cents(r.F1Hz, want.F1Hz)) > 0.1*want.SigmaCents+1e-6 {
				t.Errorf("%g Hz, gain %g: %+.2g cents apart, σ %.2g", hz, gain, stiffstring.Cents(r.F1Hz, want.F1Hz), want.SigmaCents)
			}
		}
		// The same samples at another rate are the same sound lower down.
		const scale = 44100.0 / 48000
		if r := read(t, x, testRate*scale, hz*scale); math.Abs(stiffstring.Cents(r.F1Hz, want.F1Hz*scale)) > 4*want.SigmaCents {
			t.Errorf("%g Hz, read at 44100 Hz: %+.3g cents apart, σ %.2g", hz, stiffstring.Cents(r.F1Hz, want.F1Hz*scale), want.SigmaCents)
		}
	}
}

func TestWindowTimeShift(t *testing.T) {
	for _, hz := range []float64{30.868, 82.407, 329.628, 880} {
		spec := sound.String(hz)
		spec.SNRdB = 60
		x := make([]float64, 12000)
		spec.Render(x, testRate, newRand(2))
		for _, shift := range []int{0, 1, 17, 400, 2399} {
			r := read(t, x[shift:shift+9600], testRate, hz)
			if off := stiffstring.Cents(r.F1Hz, hz); math.Abs(off) > 4*r.SigmaCents+0.002 {
				t.Errorf("%g Hz, %d samples later: %+.4f ± %.4f cents", hz, shift, off, r.SigmaCents)
			}
		}
	}
}

func TestWindowReportsInharmonicityAndPartials(t *testing.T) {
	for _, hz := range []float64{82.407, 196} {
		spec := sound.String(hz)
		spec.SNRdB = 50
		x := make([]float64, 24000)
		truth := spec.Render(x, testRate, newRand(3))
		r := read(t, x, testRate, hz)
		if math.Abs(r.B-truth.B) > 4*r.BSigma || r.BSigma > 1e-6 {
			t.Errorf("%g Hz: B = %.4g ± %.2g, want %.4g", hz, r.B, r.BSigma, truth.B)
		}
		if len(r.Partials) < 15 || r.Partial1Hz == 0 {
			t.Errorf("%g Hz: %d partials, lowest at %g Hz", hz, len(r.Partials), r.Partial1Hz)
		}
		for _, p := range r.Partials {
			if p.N > len(truth.Freqs) {
				t.Errorf("%g Hz: partial %d at %.1f dB is not there", hz, p.N, p.LevelDB)
				continue
			}
			if off := stiffstring.Cents(p.Hz, truth.Freqs[p.N-1]); math.Abs(off) > 5*p.SigmaCents+1e-4 {
				t.Errorf("%g Hz: partial %d %+.4f ± %.4f cents off", hz, p.N, off, p.SigmaCents)
			}
			// The level is the root mean square over the window of a decaying amplitude.
			fall := truth.Decays[p.N-1] * r.WindowS
			level := 20*math.Log10(truth.Amps[p.N-1]) + 10*math.Log10(math.Sinh(fall)/fall)
			if math.Abs(p.LevelDB-level) > 0.5 {
				t.Errorf("%g Hz: partial %d at %.1f dB, want %.1f", hz, p.N, p.LevelDB, level)
			}
		}
	}
}

func TestNewWindowEstimatorErrors(t *testing.T) {
	for _, fs := range []float64{0, 7990, 192200, math.NaN(), math.Inf(1)} {
		if _, err := NewWindowEstimator(fs); err == nil {
			t.Errorf("%g Hz was accepted", fs)
		}
	}
}

// Any pitch in the upper registers, 10 to 40 dB, in 3.5 to 7 periods of the lowest: each is read, none at
// another pitch.
func TestWindowOfAnyPitch(t *testing.T) {
	const trials = 150
	var upper []accuracy.Register
	for _, r := range accuracy.Full().Registers {
		if r.MinHz > 150 {
			upper = append(upper, r)
		}
	}
	for seed := range uint64(3) {
		rep, err := accuracy.Run(t.Context(), accuracy.Config{SampleRate: testRate, Seed: seed + 1, Trials: trials, Registers: upper, New: estimator(t)})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rep.Registers {
			if r.Read != trials || r.Gross > 0 {
				t.Errorf("%v, seed %d: %d of %d read, %d gross errors", r.Register, seed+1, r.Read, trials, r.Gross)
			}
		}
	}
}
