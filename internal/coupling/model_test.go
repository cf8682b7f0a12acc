package coupling_test

import (
	"math"
	"testing"

	"tunerd/internal/coupling"
)

// two are the strings of the example in docs/coupling.md: 80 N, 20 and 40 N/mm. So stiff an E·A that the
// length of the wire hardly counts, and at one place, where no tilt moves them.
func two() []coupling.String {
	inf := math.Inf(1)
	return []coupling.String{
		{EA: 20e6, LengthMM: 1e6, SoundingMM: 1e6, TensionN: 80, LimitCents: inf, Place: 0},
		{EA: 40e6, LengthMM: 1e6, SoundingMM: 1e6, TensionN: 80, LimitCents: inf, Place: 0},
	}
}

// onSprings knows the bridge of 40 N/mm and nothing else.
func onSprings(t *testing.T, strs []coupling.String, perMM, sd float64) (*coupling.Prior, *coupling.Known) {
	t.Helper()
	p, err := coupling.NewPrior(coupling.FloatingBridge, strs)
	if err != nil {
		t.Fatal(err)
	}
	n := len(strs)
	k := &coupling.Known{Support: coupling.FloatingBridge, Strings: n, Sessions: 1, Mean: make([]float64, 2+2*n)}
	k.Mean[0], k.Mean[1] = -math.Log(perMM), -math.Log(1500)
	for i := range k.Mean {
		row := make([]float64, len(k.Mean))
		row[i] = 1e-10
		k.Covariance = append(k.Covariance, row)
	}
	k.Covariance[0][0] = sd * sd
	return p, k
}

func heard(cents ...float64) []coupling.Reading {
	var all []coupling.Reading
	for i, c := range cents {
		all = append(all, coupling.Reading{String: i, Cents: c, SigmaCents: 0.01})
	}
	return all
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.5f, by hand %.5f", what, got, want)
	}
}

// TestExampleByHand is the one in docs/coupling.md.
func TestExampleByHand(t *testing.T) {
	p, known := onSprings(t, two(), 40, 1e-6)
	l, err := coupling.NewLearner(p, known)
	if err != nil {
		t.Fatal(err)
	}
	loses := l.Loses()
	near(t, "what string 2 loses", loses[1][0], 0.5, 2e-3)
	near(t, "what string 1 loses", loses[0][1], 1./3, 2e-3)
	if err := l.Heard(heard(-20, -20)...); err != nil {
		t.Fatal(err)
	}
	a := coupling.NewAdviser(l)
	first, ok := a.Next()
	if !ok || first.String != 0 {
		t.Fatalf("string %d is turned first, by hand it is 1", first.String+1)
	}
	near(t, "string 1 now", first.NowCents, 11.8, 0.05)
	if err := a.Done(first, coupling.Reading{String: 0, Cents: first.NowCents, SigmaCents: 0.01}); err != nil {
		t.Fatal(err)
	}
	cents, _ := l.Cents()
	near(t, "string 2 then", cents[1], -36.3, 0.05)
	second, ok := a.Next()
	if !ok || second.String != 1 {
		t.Fatalf("string %d is turned second", second.String+1)
	}
	near(t, "string 2 now", second.NowCents, 0, 0.01)
	if err := a.Done(second, coupling.Reading{String: 1, Cents: 0, SigmaCents: 0.01}); err != nil {
		t.Fatal(err)
	}
	cents, _ = l.Cents()
	near(t, "string 1 in the end", cents[0], 0, 0.05)
	if next, ok := a.Next(); ok {
		t.Errorf("string %d is to be turned once more", next.String+1)
	}
}

// TestLearnsByHand: a bridge that is not known is learned from one move: string 1 from −20 to +11.8 cents,
// string 2 from −20 to −36.3, so R = −0.5 and K = 40 N/mm.
func TestLearnsByHand(t *testing.T) {
	p, known := onSprings(t, two(), 400, 2)
	l, err := coupling.NewLearner(p, known)
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range []error{
		l.Heard(heard(-20, -20)...),
		l.Turned(coupling.Reading{String: 0, Cents: 11.8, SigmaCents: 0.01}, heard(11.8, -36.3)...),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	near(t, "what string 2 loses", l.Loses()[1][0], 0.5, 0.02)
	near(t, "K", math.Exp(-l.Known(nil).Mean[0]), 40, 2)
}

func TestRigidIsPlain(t *testing.T) {
	p, err := coupling.NewPrior(coupling.Rigid, two())
	if err != nil {
		t.Fatal(err)
	}
	l, err := coupling.NewLearner(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Heard(heard(-83, 41)...); err != nil {
		t.Fatal(err)
	}
	a := coupling.NewAdviser(l)
	for range 2 {
		next, ok := a.Next()
		if !ok {
			t.Fatal("the pass is over too early")
		}
		if math.Abs(next.NowCents) > 1e-9 {
			t.Errorf("string %d is to be tuned to %g cents now; nothing gives", next.String+1, next.NowCents)
		}
		if err := a.Done(next, coupling.Reading{String: next.String, Cents: 0, SigmaCents: 0.1}); err != nil {
			t.Fatal(err)
		}
	}
	for _, row := range l.Loses() {
		for _, v := range row {
			if v != 0 {
				t.Errorf("a string loses %g on a support that does not give", v)
			}
		}
	}
}

// TestSlipIsNoCoupling: a string that reads elsewhere though nothing was turned since has moved by itself.
func TestSlipIsNoCoupling(t *testing.T) {
	p, known := onSprings(t, two(), 40, 0.5)
	l, err := coupling.NewLearner(p, known)
	if err != nil {
		t.Fatal(err)
	}
	steps := []error{
		l.Heard(heard(0, 0)...),
		l.Turned(coupling.Reading{String: 0, Cents: -31, SigmaCents: 0.1}),
		l.Heard(coupling.Reading{String: 0, Cents: -37, SigmaCents: 0.1}), // its peg slipped
	}
	for _, err := range steps {
		if err != nil {
			t.Fatal(err)
		}
	}
	odd := l.TakeOdd()
	if len(odd) != 1 || odd[0].String != 0 || !odd[0].Turned || math.Abs(odd[0].Cents+6) > 0.5 {
		t.Fatalf("odd readings: %+v; string 1 slipped by −6", odd)
	}
	if err := l.Heard(heard(-37, 17)...); err != nil { // string 2 has risen by the coupling, and is evidence on it
		t.Fatal(err)
	}
	if odd := l.TakeOdd(); len(odd) != 0 {
		t.Fatalf("odd readings: %+v; string 2 followed string 1", odd)
	}
	if err := l.Heard(heard(-37, 14)...); err != nil { // nothing was turned
		t.Fatal(err)
	}
	if odd := l.TakeOdd(); len(odd) != 1 || odd[0].String != 1 || odd[0].Turned {
		t.Fatalf("odd readings: %+v; string 2 moved by itself", odd)
	}
}

// TestNothingIsTooTight: a bridge so soft that the plan would overpull is held below the limit.
func TestNothingIsTooTight(t *testing.T) {
	strs := two()
	for i := range strs {
		strs[i].LimitCents = 30
	}
	p, known := onSprings(t, strs, 4, 0.1)
	l, err := coupling.NewLearner(p, known)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Heard(heard(-90, -90)...); err != nil {
		t.Fatal(err)
	}
	next, ok := coupling.NewAdviser(l).Next()
	if !ok || next.Part >= 1 || next.NowCents > 30-4 {
		t.Errorf("%+v: the whole move would go over 30 cents, and 4 of them are for the hand", next)
	}
}

// TestFirstMoveOfTheUnknownIsSmall: 15 cents tell enough.
func TestFirstMoveOfTheUnknownIsSmall(t *testing.T) {
	p, err := coupling.NewPrior(coupling.Untold, two())
	if err != nil {
		t.Fatal(err)
	}
	l, err := coupling.NewLearner(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Heard(heard(-90, -70)...); err != nil {
		t.Fatal(err)
	}
	next, ok := coupling.NewAdviser(l).Next()
	if cents, _ := l.Cents(); !ok || math.Abs(next.NowCents-cents[next.String]) > 15 {
		t.Errorf("%+v from %.1f cents: more than 15", next, cents[next.String])
	}
}

// TestAxialStiffness: E·A of plain steel of 0.010 in (0.254 mm) at 200 GPa is 200e3 N/mm² · 0.05067 mm² =
// 10134 N, the formula of plain strings as in J. A. Kemp, PLOS ONE 12 (2017) e0184803 (abstract only).
func TestAxialStiffness(t *testing.T) {
	near(t, "E·A", coupling.AxialStiffness(200, 0.254), 10134, 1)
}

func TestBadReadingsAreRefused(t *testing.T) {
	p, known := onSprings(t, two(), 40, 0.5)
	for _, r := range [][]coupling.Reading{
		{{String: 2, Cents: 0, SigmaCents: 1}}, {{String: -1, Cents: 0, SigmaCents: 1}},
		{{String: 0, Cents: math.NaN(), SigmaCents: 1}}, {{String: 0, Cents: 0, SigmaCents: 0}},
		{{String: 0, Cents: 0, SigmaCents: 1}, {String: 0, Cents: 1, SigmaCents: 1}},
	} {
		l, err := coupling.NewLearner(p, known)
		if err != nil {
			t.Fatal(err)
		}
		if l.Heard(r...) == nil {
			t.Errorf("%+v was taken", r)
		}
	}
	known.Covariance[1][1] = -1
	if _, err := coupling.NewLearner(p, known); err == nil {
		t.Error("a variance below 0 was taken")
	}
}
