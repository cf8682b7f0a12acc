package accuracy

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"math/cmplx"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"tunerd/internal/sound"
)

const runSeed = 1

// sinusoid is a cell of one steady cosine, for which the theory is in closed form.
func sinusoid(windowS, snrDB float64) Cell {
	return Cell{Note: Note{"A5", 880}, WindowS: windowS, SNRdB: snrDB, Condition: Condition{Name: "sinusoid", Model: true,
		Shape: func(s *sound.StringSpec) { s.Partials, s.T60, s.B = 1, 1e9, 0 }}}
}

// leastSquares is the maximum-likelihood estimate of one real sinusoid's frequency: the one whose
// cosine and sine together take most power out of the window. σ is the bound at the known SNR times
// honesty.
func leastSquares(snrDB, honesty float64) Estimate {
	return func(x []float64, rate, minHz, maxHz float64) (float64, float64, bool) {
		best, grid := minHz, rate/float64(len(x))/4
		for hz := minHz; hz < maxHz; hz += grid {
			if explained(x, hz/rate) > explained(x, best/rate) {
				best = hz
			}
		}
		lo, hi := best-grid, best+grid
		for range 50 { // golden sections
			a, b := hi-(hi-lo)/math.Phi, lo+(hi-lo)/math.Phi
			if explained(x, a/rate) > explained(x, b/rate) {
				hi = b
			} else {
				lo = a
			}
		}
		return (lo + hi) / 2, honesty * SinusoidBound(lo, len(x), rate, snrDB), true
	}
}

// explained is the power of x's projection on the cosine and the sine of f turns per sample.
func explained(x []float64, f float64) float64 {
	z, w := complex(1, 0), cmplx.Rect(1, 2*math.Pi*f)
	var c, s, cc, ss, cs float64
	for _, v := range x {
		re, im := real(z), imag(z)
		c, s = c+v*re, s+v*im
		cc, ss, cs = cc+re*re, ss+im*im, cs+re*im
		z *= w
	}
	return (c*c*ss - 2*c*s*cs + s*s*cc) / (cc*ss - cs*cs)
}

func run(t *testing.T, trials int, estimate Estimate, cells ...Cell) *Report {
	t.Helper()
	rep, err := Run(t.Context(), Config{Seed: runSeed, Trials: trials, Cells: cells, New: func() Estimate { return estimate }})
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// The maximum-likelihood estimate of a sinusoid reaches Rife and Boorstyn's bound above threshold, so
// the runner must find it there: RMSE at the closed form, and 95% within ±1.96σ of it.
func TestRunFindsTheMaximumLikelihoodEstimateAtTheBound(t *testing.T) {
	const trials, snr = 400, 20.0
	r := run(t, trials, leastSquares(snr, 1), sinusoid(0.05, snr)).Results[0]
	closed := SinusoidBound(880, 2400, 48000, snr)
	if off := r.BoundCents/closed - 1; math.Abs(off) > 0.02 {
		t.Errorf("bound %.4g cents, closed form %.4g", r.BoundCents, closed)
	}
	// The standard error of the ratio is 1/√800 = 3.5%, that of the coverage 1.1%; three of them.
	if math.Abs(r.Ratio()-1) > 0.11 {
		t.Errorf("seed %d: RMSE over the bound %.3f, want 1", runSeed, r.Ratio())
	}
	if math.Abs(r.Coverage()-0.95) > 0.035 {
		t.Errorf("seed %d: coverage %.3f, want 0.95", runSeed, r.Coverage())
	}
	if r.Read != trials || r.Gross != 0 {
		t.Errorf("%d of %d read, %d gross", r.Read, trials, r.Gross)
	}
}

// Trials are spread evenly over ±25 cents, so a reading that is always the note itself is off by
// 25/√3 cents RMS, and ±12.5 cents hold half of them.
func TestRunStatisticsOfAKnownError(t *testing.T) {
	cell := Cell{Note: Note{"A2", 110}, WindowS: 0.05, SNRdB: 20}
	r := run(t, 2000, func(_ []float64, _, lo, hi float64) (float64, float64, bool) {
		return math.Sqrt(lo * hi), 12.5 / 1.96, true
	}, cell).Results[0]
	if math.Abs(r.RMSE-25/math.Sqrt(3)) > 0.5 || math.Abs(r.Bias) > 1 || math.Abs(r.Coverage()-0.5) > 0.034 {
		t.Errorf("seed %d: RMSE %.2f, bias %.2f, coverage %.3f; want 14.43, 0, 0.5", runSeed, r.RMSE, r.Bias, r.Coverage())
	}
	if r.MedianSigma != 12.5/1.96 {
		t.Errorf("median σ %g", r.MedianSigma)
	}
}

func TestRunCountsWrongReadings(t *testing.T) {
	cell := Cell{Note: Note{"A2", 110}, WindowS: 0.05, SNRdB: 20}
	for _, tc := range []struct {
		name                string
		ratio               float64
		ok                  bool
		read, gross, octave int
	}{
		{"octave high", 2, true, 50, 50, 50},
		{"fifth high", 1.5, true, 50, 50, 0},
		{"no reading", 1, false, 0, 0, 0},
		{"not a number", math.NaN(), true, 0, 0, 0},
	} {
		r := run(t, 50, func(_ []float64, _, lo, hi float64) (float64, float64, bool) {
			return tc.ratio * math.Sqrt(lo*hi), 1, tc.ok
		}, cell).Results[0]
		if r.Read != tc.read || r.Gross != tc.gross || r.Octave != tc.octave {
			t.Errorf("%s: read %d, gross %d, octave %d; want %d, %d, %d", tc.name, r.Read, r.Gross, r.Octave, tc.read, tc.gross, tc.octave)
		}
	}
}

func TestRunDoesNotDependOnTheProcessors(t *testing.T) {
	cells := []Cell{sinusoid(0.05, 20), {Note: Note{"E4", 329.628}, WindowS: 0.05, SNRdB: 10}}
	results := func() []Result {
		rep := run(t, 7, leastSquares(20, 1), cells...)
		for i := range rep.Results {
			rep.Results[i].Condition.Shape = nil // functions do not compare
		}
		return rep.Results
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := results()
	runtime.GOMAXPROCS(5)
	if five := results(); !reflect.DeepEqual(one, five) {
		t.Errorf("seed %d: one processor\n%+v\nfive\n%+v", runSeed, one, five)
	}
}

func TestFailuresNameWhatWasMissed(t *testing.T) {
	goals := DefaultGoals()
	cell := sinusoid(0.05, 20)
	if fails := run(t, 200, leastSquares(20, 1), cell).Failures(goals); len(fails) != 0 {
		t.Errorf("seed %d: the maximum-likelihood estimate misses %v", runSeed, fails)
	}
	fails := run(t, 200, leastSquares(20, 0.2), cell).Failures(goals)
	if len(fails) != 2 || fails[0].What != "coverage" || !strings.Contains(fails[0].String(), "A5 50 ms 20 dB, sinusoid: coverage 0.") {
		t.Errorf("σ five times too small: %v", fails)
	}
	fails = run(t, 200, func(x []float64, rate, lo, hi float64) (float64, float64, bool) {
		f1, sigma, ok := leastSquares(20, 1)(x, rate, lo, hi)
		return f1 * math.Exp2(0.3/1200), 1.5 * sigma, ok // 0.3 cent sharp
	}, cell).Failures(goals)
	if len(fails) == 0 || fails[0].What != "RMSE over the bound" {
		t.Errorf("a bias of 0.3 cent: %v", fails)
	}
	fails = run(t, 20, func(_ []float64, _, lo, hi float64) (float64, float64, bool) { return 2 * lo, 1, false }, cell).Failures(goals)
	if len(fails) != 1 || fails[0].What != "readings" {
		t.Errorf("no readings: %v", fails)
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	estimate := func(_ []float64, _, lo, hi float64) (float64, float64, bool) {
		cancel()
		return lo, 1, true
	}
	_, err := Run(ctx, Config{Trials: 1000, Cells: []Cell{sinusoid(0.05, 20)}, New: func() Estimate { return estimate }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled run: %v", err)
	}
	if _, err := Run(t.Context(), Config{}); err == nil {
		t.Error("a run of nothing has a report")
	}
}

// The goals name these notes, windows, noises and stiffnesses.
func TestFullHoldsEveryCellOfTheGoals(t *testing.T) {
	full := map[string]bool{}
	for _, c := range Full().Cells {
		full[c.String()] = true
	}
	for _, note := range []string{"B0", "E2", "E4", "A4"} {
		for _, window := range []string{"50 ms", "100 ms", "200 ms", "500 ms", "1000 ms"} {
			for _, rest := range []string{"10 dB", "20 dB", "30 dB", "40 dB", "40 dB, B = 3e-4"} {
				name := note + " " + window + " " + rest
				short := window == "50 ms" || window == "100 ms"
				if note == "B0" && window == "50 ms" || strings.Contains(rest, "B = ") && short {
					continue
				}
				if !full[name] {
					t.Errorf("no cell %q", name)
				}
			}
		}
	}
}

func TestSmallerSetsArePartsOfFull(t *testing.T) {
	names := func(s Set) map[string]bool {
		all := map[string]bool{}
		for _, c := range s.Cells {
			all[c.String()] = true
		}
		for _, r := range s.Registers {
			all[r.String()] = true
		}
		for _, p := range s.Plucks {
			all[p.String()] = true
		}
		if n := len(s.Cells) + len(s.Registers) + len(s.Plucks); n != len(all) {
			t.Errorf("%d of %d have a name of their own, from which the seed comes", len(all), n)
		}
		return all
	}
	full := names(Full())
	for _, part := range []Set{Small(), Quick()} {
		for name := range names(part) {
			if !full[name] {
				t.Errorf("%q is not in the full set", name)
			}
		}
	}
}

func TestRegisters(t *testing.T) {
	for _, r := range registers() {
		rep, err := Run(t.Context(), Config{Seed: runSeed, Trials: 20, Registers: []Register{r}, New: func() Estimate {
			return func(x []float64, rate, lo, hi float64) (float64, float64, bool) {
				if periods := float64(len(x)) / rate * lo; lo != r.MinHz || hi != r.MaxHz || periods < 3.49 || periods > 7 {
					t.Errorf("%v: window of %.2f periods, %g to %g Hz", r, periods, lo, hi)
				}
				return 1.5 * hi, 1, true
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		if got := rep.Registers[0]; got.Gross != 20 || got.Read != 20 {
			t.Errorf("%v: %d gross errors of %d readings beyond the register", r, got.Gross, got.Read)
		}
		if fails := rep.Failures(DefaultGoals()); len(fails) != 1 || fails[0].What != "gross errors" {
			t.Errorf("%v: failures %v", r, fails)
		}
	}
}

func TestNotesAreEqualTempered(t *testing.T) {
	// Twelve equal steps at A4 = 440 Hz, ISO 16:1975.
	for _, n := range Notes {
		steps := 12 * math.Log2(n.Hz/440)
		if off := 100 * (steps - math.Round(steps)); math.Abs(off) > 0.03 {
			t.Errorf("%s, %g Hz, is %.3f cents off the twelve equal steps", n.Name, n.Hz, off)
		}
	}
}

func TestReportsAreWellFormed(t *testing.T) {
	cells := []Cell{{Note: Note{"E4", 329.628}, WindowS: 0.05, SNRdB: 20}, {Note: Note{"E4", 329.628}, WindowS: 0.1, SNRdB: 20}, sinusoid(0.05, 20)}
	rep := run(t, 5, leastSquares(20, 1), cells...)
	var table, picture bytes.Buffer
	if err := rep.WriteMarkdown(&table, DefaultGoals()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Seed 1, 5 trials a cell, 48000 Hz", "| matched model | 10 |", "| E4 | 50 | 20 |  |", "| A5 | 50 | 20 | sinusoid |"} {
		if !strings.Contains(table.String(), want) {
			t.Errorf("no %q in\n%s", want, table.String())
		}
	}
	columns := 0
	for line := range strings.Lines(table.String()) {
		n := strings.Count(line, "|")
		if n > 0 && columns > 0 && n != columns {
			t.Errorf("%d bars after a row of %d: %s", n, columns, line)
		}
		columns = n
	}
	if err := rep.WriteSVG(&picture); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(picture.String(), "<circle"); n != 2 {
		t.Errorf("%d dots, want 2", n)
	}
	decoder := xml.NewDecoder(&picture)
	for {
		if _, err := decoder.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
