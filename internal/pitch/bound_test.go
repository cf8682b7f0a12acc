package pitch

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
	m := subBlock(testRate)
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
		f := fitter{fs: testRate, live: true, partials: youngPartials, accept: accepts}
		f.room(subBlock(testRate), len(x))
		r := Result{At: int64(len(x))}
		if !f.load(x, 0, first(30.868, expectSigma)) || !f.whole(0, f.bank.n, still, 0, &r) {
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
	f := fitter{fs: testRate, live: true, partials: youngPartials, accept: accepts}
	f.room(subBlock(testRate), len(x))
	if !f.load(x, 0, first(30.868, expectSigma)) || !f.lengthen(0, f.bank.n, f.start, still, 0) {
		t.Fatal("no fit")
	}
	j := &f.joint
	na := len(j.active)
	size := 4*na + 2
	if !j.brief || na != youngPartials {
		t.Fatalf("%d partials, a brief window: %v", na, j.brief)
	}
	type state struct {
		f1, b      float64
		c          []complex128
		alpha, off []float64
	}
	base := state{j.f1, j.b, append([]complex128{}, j.c...), append([]float64{}, j.alpha...), append([]float64{}, j.off...)}
	set := func() {
		j.f1, j.b = base.f1, base.b
		copy(j.c, base.c)
		copy(j.alpha, base.alpha)
		copy(j.off, base.off)
		j.waves()
		j.answers()
		j.white = 0
		j.stale = true
		j.remains()
		j.equations()
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
		return i >= 4*na || power(base.c[j.active[k]]) > 1e-2*power(base.c[j.active[0]])
	}
	by := make([]float64, size)
	for i := range size {
		if !loud(i) {
			continue
		}
		set()
		clear(by)
		by[i] = 1e-3 * math.Sqrt(1/at(i, i))
		j.move(by)
		j.waves()
		j.answers()
		j.stale = true
		j.remains()
		j.equations()
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

// TestExpectedIsNotTheOctaveBelow plucks strings an octave and a twelfth above the only pitch that is expected:
// every second or third of its partials sounds, and that explains the sound as well.
func TestExpectedIsNotTheOctaveBelow(t *testing.T) {
	for _, times := range []float64{2, 3} {
		s := newScene(0.6, testRate, -70, newRand(8))
		spec := sound.String(82.407 * times)
		s.pluck(spec, 0.2, -20, newRand(9))
		tracker, err := NewTracker(Config{SampleRate: testRate, Live: true})
		if err != nil {
			t.Fatal(err)
		}
		tracker.Expect(60, []float64{82.407})
		var h hearing
		for at := 0; at+256 <= len(s.x); at += 256 {
			tracker.Push(s.x[at:at+256], int64(at), h.keep)
		}
		heard := h.sounding()
		if len(heard) == 0 {
			t.Errorf("%g times the expected pitch: nothing is heard", times)
		}
		for _, r := range heard {
			if math.Abs(stiffstring.Cents(r.F1Hz, spec.F1Hz)) > 50 {
				t.Errorf("%g times the expected pitch: %.2f Hz at %.3f s, want %.2f", times, r.F1Hz, float64(r.At)/testRate, spec.F1Hz)
				break
			}
		}
	}
}
