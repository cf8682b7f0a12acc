package stringfit

import (
	"context"
	"errors"
	"io"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/stiffstring"
	"tunerd/internal/testkit"
)

// plucks calls do with every recording of a pluck, from its attack on.
func plucks(t *testing.T, do func(c testkit.Recording, x []float64, rate float64)) {
	t.Helper()
	all, err := testkit.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		if c.Kind != "pluck" {
			continue
		}
		src, err := capture.Open(context.Background(), filepath.Join(testkit.WAVDir(), c.File), capture.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var x []float64
		buf := make([]float64, 4096)
		for !errors.Is(err, io.EOF) {
			var b capture.Block
			if b, err = src.Read(context.Background(), buf); err != nil && !errors.Is(err, io.EOF) {
				t.Fatal(err)
			}
			x = append(x, b.Samples...)
		}
		rate := float64(src.SampleRate())
		src.Close()
		do(c, x[int(c.Attack*rate):], rate)
	}
}

// fitRecorded fits seconds [from, to) of x.
func fitRecorded(c testkit.Recording, x []float64, rate, from, to float64) (*Fitter, Result, bool) {
	x = x[min(len(x), int(from*rate)):min(len(x), int(to*rate))]
	f := &Fitter{SampleRate: rate, Accept: func(*Result) bool { return true }}
	f.Reserve(SubBlock(rate), len(x))
	r := Result{At: int64(len(x))}
	ok := len(x) > int((to-from)*rate/2) && f.Load(x, 0, Guess(c.RefHz, 5)) && f.FitWhole(0, f.Bank.N, Drifts, 0, &r)
	return f, r, ok && r.SNRdB > TrustedSNR
}

// What is expected of real strings is what the recordings show: how far their partials move in common, and how
// fast they decay.
func TestExpectationsAgainstRecordings(t *testing.T) {
	var decays, common []float64
	plucks(t, func(c testkit.Recording, x []float64, rate float64) {
		if f, _, ok := fitRecorded(c, x, rate, 0.1, 0.6); ok && f.Fitted {
			for i := range f.joint.basis.part {
				if p := &f.joint.model.row[f.joint.basis.part[i].row]; p.seen == found {
					decays = append(decays, p.alpha)
				}
			}
		}
		var cents [4]float64
		scatter := 0.0
		for i := range cents {
			from := 0.3 * float64(1+i)
			f, r, ok := fitRecorded(c, x, rate, from, from+0.3)
			if !ok || !f.Fitted || f.joint.law.scatter == 0 {
				return
			}
			cents[i] = 1200 * math.Log2(r.F1Hz)
			scatter += f.joint.law.scatter / float64(len(cents))
		}
		// Second differences: a glide or a drift is no scatter. That of independent values is √6 times as wide.
		for i := 1; i+1 < len(cents); i++ {
			common = append(common, math.Abs(cents[i-1]-2*cents[i]+cents[i+1])/math.Sqrt(6)/scatter)
		}
	})
	if len(common) < 20 || len(decays) < 200 {
		t.Fatalf("%d movements and %d decays measured, want 20 and 200", len(common), len(decays))
	}
	slices.Sort(common)
	const ofMedian = 0.6745 // median of |normal|, in standard deviations
	moved := common[len(common)/2] / ofMedian
	se := 1.17 * moved / math.Sqrt(float64(len(common))) // of a median of |normal|, from memory
	want := stiffstring.CommonScatter * stiffstring.UpperScatterWidth
	t.Logf("%d common movements: %.3f ± %.3f cents for a unit of scatter; the fit reckons with %.3f", len(common), moved, se, want)
	if math.Abs(moved-want) > 3*se {
		t.Errorf("partials move by %.3f ± %.3f cents in common for a unit of scatter, the fit reckons with %.3f", moved, se, want)
	}
	inside := 0
	var sum, square float64
	for _, d := range decays {
		sum, square = sum+d, square+d*d
		if math.Abs(d-decayMean) < 2*decaySigma {
			inside++
		}
	}
	n := float64(len(decays))
	t.Logf("%d decays: mean %.1f, standard deviation %.1f 1/s", len(decays), sum/n, math.Sqrt(square/n-sum*sum/n/n))
	if part := float64(inside) / n; part < 0.95 {
		t.Errorf("%.0f %% of the decays lie within two σ of what is expected, want 95", 100*part)
	}
}
