package stringfit

import (
	"math"
	"testing"

	"tunerd/internal/accuracy"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// lowString renders periods of a string near the low B of a bass, at cents off 30.868 Hz, as heard from
// the pluck on.
func lowString(periods, cents, snrDB float64, stream uint64) ([]float64, sound.Truth) {
	s := sound.String(30.868 * math.Exp2(cents/1200))
	s.StartS, s.SNRdB = 0, snrDB
	m := SubBlock(testRate)
	x := make([]float64, int(periods/30.868*testRate)/m*m)
	return x, s.Render(x, testRate, newRand(stream))
}

// TestBoundReachesTheBound reads windows of less than two periods of a string known to 20 cents. The bound is
// Cramér–Rao with B and decays unknown. It knows that the partials keep to the law; the fit does not,
// and so trusts the lowest less.
func TestBoundReachesTheBound(t *testing.T) {
	const trials, periods = 60, 1.85
	var squares, bounds float64
	covered := 0
	for i := range trials {
		x, truth := lowString(periods, 60*float64(i)/trials-30, 20, uint64(i))
		f := Fitter{SampleRate: testRate, Live: true, Partials: 24, Accept: func(*Result) bool { return true }}
		f.Reserve(SubBlock(testRate), len(x))
		r := Result{At: int64(len(x))}
		if !f.Load(x, 0, Guess(30.868, 20)) || !f.FitWhole(0, f.Bank.N, Steady, 0, &r) {
			t.Fatalf("trial %d is not read", i)
		}
		m := accuracy.StringModel{F1Hz: truth.F1Hz, B: truth.B, Amps: truth.Amps, Decays: truth.Decays, Phases: truth.Phases}
		const thin = 16 // samples that hold the highest partial as well
		b, err := accuracy.StringBound(m, len(x)/thin, testRate/thin, truth.NoiseSigma/math.Sqrt(thin), accuracy.Assumed{})
		if err != nil {
			t.Fatal(err)
		}
		e := stiffstring.Cents(r.F1Hz, truth.F1Hz)
		squares, bounds = squares+e*e, bounds+b.F1Cents*b.F1Cents
		if math.Abs(e) <= 1.96*r.SigmaCents {
			covered++
		}
	}
	rmse, least := math.Sqrt(squares/trials), math.Sqrt(bounds/trials)
	t.Logf("RMSE %.3f cent, bound %.3f, %d of %d covered", rmse, least, covered, trials)
	if rmse > 1.4*least {
		t.Errorf("RMSE is %.3f cent, the bound %.3f", rmse, least)
	}
	if covered < trials*9/10 {
		t.Errorf("±1.96σ holds %d of %d", covered, trials)
	}
}

// TestBoundEquations holds the normal equations to what they stand for: moving one unknown by a
// little changes the products of basis and remainder by that column of the matrix.
func TestBoundEquations(t *testing.T) {
	x, _ := lowString(1.9, 10, math.Inf(1), 1)
	f := Fitter{SampleRate: testRate, Live: true, Partials: 24, Accept: func(*Result) bool { return true }}
	f.Reserve(SubBlock(testRate), len(x))
	if !f.Load(x, 0, Guess(30.868, 20)) || !f.FitGrowing(0, f.Bank.N, f.Start, Steady, 0) {
		t.Fatal("no fit")
	}
	j := &f.joint
	na := len(j.basis.part)
	size := 4*na + 2
	if j.solver != bound || na != 24 {
		t.Fatalf("%d partials, solver %d", na, j.solver)
	}
	fill := func() {
		j.basis.compute(&j.model)
		j.basis.answers()
		j.rest.stale = true
		j.equations.remains(&j.model, &j.basis, &j.rest, 0)
		j.bound.fill(&j.model, &j.basis, &j.equations)
	}
	base := j.model
	set := func() {
		j.model = base
		fill()
	}
	set()
	matrix := append([]float64{}, j.bound.matrix...)
	at := func(i, k int) float64 { return matrix[max(i, k)*size+min(i, k)] } // common unknowns: lower triangle alone
	before := append([]float64{}, j.bound.rhs...)
	// A partial that is hardly there is moved by far more than it is, in units of its own.
	loud := func(i int) bool {
		k := i % na
		if i < 2*na {
			k = i / 2
		}
		return i >= 4*na || Power(base.row[j.basis.part[k].row].c) > 1e-2*Power(base.row[j.basis.part[0].row].c)
	}
	by := make([]float64, size)
	for i := range size {
		if !loud(i) {
			continue
		}
		set()
		clear(by)
		by[i] = 1e-3 * math.Sqrt(1/at(i, i))
		j.bound.move(&j.model, &j.basis, by)
		fill()
		for r := range size {
			if !loud(r) {
				continue
			}
			got := (before[r] - j.bound.rhs[r]) / by[i]
			want, scale := at(r, i), math.Sqrt(at(r, r)*at(i, i))
			if math.Abs(got-want) > 0.05*scale {
				t.Errorf("unknown %d moves product %d by %.3g of their sizes, want %.3g", i, r, got/scale, want/scale)
			}
		}
	}
}
