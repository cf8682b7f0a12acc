package sound

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

const driveRate = 48000

// settled is how many samples the coupling capacitor is given to settle.
const settled = driveRate * 6 / 10

// lines returns the amplitudes at 0, 1, 2 … Hz of a second of x, at 48 kHz, once it has settled.
func lines(x []float64) []float64 {
	coefficients := fourier.NewFFT(driveRate).Coefficients(nil, x[settled:settled+driveRate])
	amps := make([]float64, len(coefficients))
	for i, c := range coefficients {
		amps[i] = 2 * cmplx.Abs(c) / driveRate
	}
	return amps
}

// strongestAlias returns the strongest line that is no multiple of hz, against the strongest of all.
func strongestAlias(x []float64, hz int) (db float64, at int) {
	strongest, alias := 0.0, 0.0
	for i, a := range lines(x) {
		strongest = max(strongest, a)
		if i%hz != 0 && a > alias {
			alias, at = a, i
		}
	}
	return 20 * math.Log10(alias/strongest), at
}

// cosines adds up cosines of whole frequencies, for as long as lines looks at.
func cosines(level float64, hz ...int) []float64 {
	x := make([]float64, settled+driveRate+1000)
	for i := range x {
		for _, f := range hz {
			x[i] += level / float64(len(hz)) * math.Cos(2*math.Pi*float64(f)*float64(i)/driveRate+float64(f))
		}
	}
	return x
}

// A driven sound of multiples of one frequency has lines at its multiples only; every other line is
// one that has folded back. Two tones are 7 and 9 times that frequency, three 4, 5 and 6 times.
// 48000 is no multiple of any of them, so what folds back falls between.
func TestDriveDoesNotAlias(t *testing.T) {
	drives := []Drive{{0, DefaultBias}, {12, 0}, {18, 1}, {24, DefaultBias}, {MaxDriveDB, DefaultBias}}
	for _, d := range drives {
		worst := math.Inf(-1)
		for _, tc := range []struct {
			base  int
			times []int
		}{
			{997, []int{1}}, {4999, []int{1}}, {9973, []int{1}}, {19001, []int{1}},
			{131, []int{7, 9}}, {1009, []int{7, 9}}, {2111, []int{7, 9}}, {1031, []int{4, 5, 6}},
		} {
			if testing.Short() && len(tc.times) == 1 {
				continue
			}
			var hz []int
			for _, k := range tc.times {
				hz = append(hz, k*tc.base)
			}
			x := cosines(1, hz...)
			if err := d.Apply(x, driveRate); err != nil {
				t.Fatal(err)
			}
			db, at := strongestAlias(x, tc.base)
			if worst = max(worst, db); db > -80 {
				t.Errorf("%+v (%d-fold): %v Hz give a line at %d Hz, %.1f dB", d, d.Oversampling(), hz, at, db)
			}
		}
		t.Logf("drive %2g dB, bias %g, %3d-fold: strongest alias %.1f dB", d.GainDB, d.Bias, d.Oversampling(), worst)
	}
}

// The check above sees what folds back where nothing is oversampled.
func TestAliasIsSeen(t *testing.T) {
	x := cosines(1, 997)
	d := Drive{24, DefaultBias}
	for i := range x {
		x[i] = d.curve(x[i])
	}
	if db, _ := strongestAlias(x, 997); db < -60 {
		t.Errorf("bent at 48 kHz, the strongest alias is only %.1f dB", db)
	}
}

// Harmonics of a driven sine against the Fourier coefficients of the curve itself, by the
// trapezium rule over one period, which is exact but for rounding.
func TestDriveHarmonics(t *testing.T) {
	const hz, points = 500, 4096
	d := Drive{15, DefaultBias}
	x := cosines(1, hz)
	if err := d.Apply(x, driveRate); err != nil {
		t.Fatal(err)
	}
	got := lines(x)
	var want [12]float64
	for n := 1; n < len(want); n++ {
		for i := range points {
			phase := 2 * math.Pi * float64(i) / points
			want[n] += 2 * d.curve(math.Cos(phase)) * math.Cos(float64(n)*phase) / points
		}
	}
	for n := 2; n < len(want); n++ {
		ratio, wanted := got[n*hz]/got[hz], math.Abs(want[n]/want[1])
		if math.Abs(ratio-wanted) > 2e-4 { // the coupling capacitor takes 5e-5 off the fundamental
			t.Errorf("harmonic %d: %.6f of the fundamental, want %.6f", n, ratio, wanted)
		}
	}
	odd := cosines(1, hz)
	if err := (Drive{15, 0}).Apply(odd, driveRate); err != nil {
		t.Fatal(err)
	}
	if second := lines(odd)[2*hz] / lines(odd)[hz]; second > 1e-9 {
		t.Errorf("a symmetric curve gives a second harmonic of %.2g", second)
	}
}

// Up and down again, with nothing done above, leaves the passband as it was, over the seams of
// the blocks too, to the 100 dB of the filters.
func TestOversamplerIsTransparent(t *testing.T) {
	x := cosines(1, 100, 1001, 7919, 15013, 19997)
	o := newOversampler(16)
	y := make([]float64, len(x))
	for start := 0; start < len(x); start += 1000 {
		o.bend(y[start:min(start+1000, len(x))], x, start, func(v float64) float64 { return v })
	}
	if w := worst(x[1000:len(x)-1000], y[1000:len(x)-1000]); w > 1e-4 {
		t.Errorf("off by %.2g", w)
	}
}

func TestDriveRefusesNonsense(t *testing.T) {
	for _, d := range []Drive{{-1, 0}, {31, 0}, {math.NaN(), 0}, {6, -0.1}, {6, 2}} {
		if err := d.Apply([]float64{1}, driveRate); err == nil {
			t.Errorf("%+v was accepted", d)
		}
	}
}
