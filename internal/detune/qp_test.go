package detune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

type numbered int

func (n numbered) String() string { return fmt.Sprintf("row %d", int(n)) }

// randomQuadratic draws what chords ask for, and so H nearly singular, and constraints many of which
// depend on others: a range of every unknown, differences of unknowns, some of them twice, and sums
// of rows. Every other problem has whole numbers, so that constraints touch; of the problems some
// can be met and some cannot.
func randomQuadratic(rng *rand.Rand) *quadratic {
	n := 2 + rng.IntN(5)
	q := &quadratic{h: mat.NewSymDense(n, nil), g: make([]float64, n)}
	whole := rng.IntN(2) == 0
	draw := func(from, to float64) float64 {
		v := from + (to-from)*rng.Float64()
		if whole {
			v = math.Round(v)
		}
		return v
	}
	s := &system{scale: 1, column: make([]int, n)}
	for i := range n {
		s.column[i] = i
		q.h.SetSym(i, i, stay)
	}
	for range 1 + rng.IntN(3) {
		d := demand{weight: 1 - 0.9*rng.Float64()}
		for _, str := range rng.Perm(n)[:2+rng.IntN(n-1)] {
			d.notes = append(d.notes, demandNote{str, draw(-30, 30)})
		}
		q.add(s, d)
	}
	add := func(row []float64, least float64) {
		q.constraints = append(q.constraints, constraint{row, least, numbered(len(q.constraints))})
	}
	tight := draw(0, 1)
	for i := range n {
		lo := draw(-20, 5)
		for _, by := range []float64{1, -1} {
			row := make([]float64, n)
			row[i] = by
			add(row, map[float64]float64{1: lo, -1: -draw(lo, lo+25)}[by])
		}
	}
	for range 1 + rng.IntN(2*n) {
		row, two := make([]float64, n), rng.Perm(n)
		row[two[0]], row[two[1]] = 1, -1
		least := draw(-30, 8-10*tight)
		add(row, least)
		if back := draw(least, least+20); rng.IntN(2) == 0 {
			other := make([]float64, n)
			floats.ScaleTo(other, -1, row)
			add(other, -back)
		}
	}
	for range rng.IntN(4) {
		a, b := q.constraints[rng.IntN(len(q.constraints))], q.constraints[rng.IntN(len(q.constraints))]
		row := make([]float64, n)
		floats.AddTo(row, a.row, b.row)
		if floats.Norm(row, 1) > 0 {
			add(row, a.least+b.least-draw(-1, 3))
		}
	}
	return q
}

// far is below every unknown of a random problem.
const far = 1000.0

// simplexLeast minimises cost·x + miss·e over row·x + e ≥ least, e ≥ 0, |x| ≤ far, by the simplex
// method of gonum; all slacks, with e in the place of that of the row that is missed most, are a
// feasible start.
func simplexLeast(t *testing.T, constraints []constraint, cost []float64, miss float64) (x []float64, e float64) {
	n := len(cost)
	constraints = append([]constraint(nil), constraints...)
	for k := range n {
		row := make([]float64, n)
		row[k] = -1
		constraints = append(constraints, constraint{row, -far, nil})
	}
	m := len(constraints)
	a, b, c := mat.NewDense(m, n+1+m, nil), make([]float64, m), make([]float64, n+1+m)
	for i, con := range constraints {
		for k, by := range con.row {
			a.Set(i, k, -by)
		}
		a.Set(i, n, -1)
		a.Set(i, n+1+i, 1)
		b[i] = -con.least - far*floats.Sum(con.row)
	}
	copy(c, cost)
	c[n] = miss
	_, at, err := lp.Simplex(c, a, b, 1e-11, feasibleStart(b, n, n+1))
	if err != nil {
		t.Fatal(err)
	}
	x = at[:n]
	floats.AddConst(-far, x)
	return x, at[n]
}

func without(constraints []constraint, i int) []constraint {
	return append(append([]constraint(nil), constraints[:i]...), constraints[i+1:]...)
}

// The dual method against the simplex method: what can be met is solved, and no place that keeps the
// constraints lies downhill of the solution (of a convex function, that is its minimum); what cannot
// be met is named with constraints that clash, none of which is one too many.
func TestQuadraticAgainstSimplex(t *testing.T) {
	solved, clashed := 0, 0
	for seed := range uint64(5000) {
		q := randomQuadratic(rand.New(rand.NewPCG(seed, 13)))
		none := make([]float64, len(q.g))
		_, short := simplexLeast(t, q.constraints, none, 1)
		if short > 1e-7 && short < 1e-3 {
			t.Fatalf("seed %d: missed by %g: not clear", seed, short)
		}
		x, err := q.solve()
		if short >= 1e-3 {
			clashed++
			e, ok := err.(*clashError)
			if !ok {
				t.Errorf("seed %d: cannot be met by %.3f, but: %v", seed, short, err)
				continue
			}
			if _, short := simplexLeast(t, e.clash, none, 1); short < 1e-3 {
				t.Errorf("seed %d: %v: these can be met", seed, e)
			}
			for i := range e.clash {
				if _, short := simplexLeast(t, without(e.clash, i), none, 1); short > 1e-7 {
					t.Errorf("seed %d: %v: %v is no part of it", seed, e, e.clash[i].about)
				}
			}
			continue
		}
		solved++
		if err != nil {
			t.Errorf("seed %d: can be met, but: %v", seed, err)
			continue
		}
		for _, c := range q.constraints {
			if miss := c.least - floats.Dot(c.row, x); miss > 2*violation {
				t.Errorf("seed %d: %v is missed by %g", seed, c.about, miss)
			}
		}
		slope := mat.NewVecDense(len(x), nil)
		slope.MulVec(q.h, mat.NewVecDense(len(x), x))
		slope.AddVec(slope, mat.NewVecDense(len(x), q.g))
		best, _ := simplexLeast(t, q.constraints, slope.RawVector().Data, 1e5)
		if down := floats.Dot(slope.RawVector().Data, x) - floats.Dot(slope.RawVector().Data, best); down > 1e-7 {
			t.Errorf("seed %d: %g lower is within the constraints", seed, down)
		}
	}
	if solved < 1000 || clashed < 1000 {
		t.Errorf("%d could be met and %d not: draw them more evenly", solved, clashed)
	}
	t.Logf("%d solved, %d named with what clashes", solved, clashed)
}

// Plans that once failed: degenerate steps where H is nearly singular.
func TestLimitsThatDoNotContradict(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	for _, text := range []string{"x02220 as 4:5:6", "x02210 as 10:12:15", "320003 as 4:5:6"} {
		for _, limit := range []Limit{{2, 1}, {2, 2}, {0.5, 3}} {
			for _, method := range []Method{LeastSquares, WorstError, BeatEnergy} {
				limits := make([]Limit, 6)
				for i := range limits {
					limits[i] = limit
				}
				solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, text), Limits: limits, Method: method})
			}
		}
	}
}
