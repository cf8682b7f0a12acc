package detune

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// A quadratic is the problem to minimise ½·xᵀHx + gᵀx subject to constraints, with H positive
// definite. H may be nearly singular: chords say nothing of a move of all their strings together.
type quadratic struct {
	h           *mat.SymDense
	g           []float64
	constraints []constraint
}

// A constraint demands row·x ≥ least.
type constraint struct {
	row   []float64
	least float64
	about fmt.Stringer // says it in words
}

// errNotConvex tells of weights so far apart that the smaller ones drown in rounding.
var errNotConvex = errors.New("the weights are too far apart to be balanced")

// A clashError names constraints that cannot all be met, though all but any one of them can.
type clashError struct{ clash []constraint }

func (e *clashError) Error() string {
	words := make([]string, len(e.clash))
	for i, c := range e.clash {
		words[i] = c.about.String()
	}
	return "these limits contradict one another: " + strings.Join(words, "; ")
}

// violation is by how much a constraint may be missed, in the units of least (cents).
const violation = 1e-9

// solve returns the minimum, by the dual method of D. Goldfarb and A. Idnani, Mathematical
// Programming 27, 1 (1983): start at the free minimum, and take in one violated constraint after
// another while the multipliers of those taken in stay at or above 0. As they advise, it works on
// the rows as seen through the Cholesky factor, L⁻¹·row, kept as an orthogonal basis: products of
// rows with H⁻¹ would square the condition of L, which is 10⁴ already, and could then no longer
// tell a row that depends on those taken in from one that does not.
func (q *quadratic) solve() ([]float64, error) {
	d := dual{quadratic: q, x: mat.NewVecDense(len(q.g), nil)}
	if !d.chol.Factorize(q.h) {
		return nil, errNotConvex
	}
	d.chol.LTo(&d.l)
	d.seen = make([][]float64, len(q.constraints))
	d.dependent = 1e-5 / math.Sqrt(mat.Trace(q.h))
	if err := d.chol.SolveVecTo(d.x, mat.NewVecDense(len(q.g), q.g)); err != nil {
		return nil, errNotConvex
	}
	d.x.ScaleVec(-1, d.x)
	for range 100 * (len(q.constraints) + 1) {
		p := q.mostViolated(d.x.RawVector().Data)
		if p < 0 {
			return d.x.RawVector().Data, nil
		}
		if err := d.takeIn(p); err != nil {
			return nil, err
		}
	}
	return nil, errors.New("the plan does not settle")
}

func (q *quadratic) mostViolated(x []float64) int {
	worst, p := violation, -1
	for i, c := range q.constraints {
		if short := c.least - floats.Dot(c.row, x); short > worst {
			worst, p = short, i
		}
	}
	return p
}

// A dual is the state of the method: where it is, and the constraints met with equality.
type dual struct {
	*quadratic
	chol mat.Cholesky
	l    mat.TriDense
	seen [][]float64 // L⁻¹·row, by constraint; nil until it is asked for
	x    *mat.VecDense

	active []int       // constraints, by number
	u      []float64   // their multipliers, 0 or more
	q      [][]float64 // orthonormal, spanning the active rows as seen
	r      [][]float64 // column j: row j as seen is Σ_i r[j][i]·q[i], i ≤ j

	// How long the part of a row of length 1 that those taken in do not span must be, as seen, to
	// be more than rounding. L⁻¹ shortens nothing by more than the root of the largest eigenvalue
	// of H, which is below its trace; rounding is of 10⁻¹⁶·10⁴ of a row that is seen 10⁴ long.
	dependent float64
}

// takeIn moves x until constraint p is met, dropping those whose multipliers would fall below 0.
func (d *dual) takeIn(p int) error {
	up, c := 0.0, &d.constraints[p]
	for {
		beyond, r := d.split(p)
		steepest := floats.Norm(r, math.Inf(1))
		limit, leaving := math.Inf(1), -1
		for i := range r {
			if r[i] > 1e-9*max(1, steepest) && d.u[i]/r[i] < limit {
				limit, leaving = d.u[i]/r[i], i
			}
		}
		full, length := math.Inf(1), floats.Norm(beyond, 2)
		if length > d.dependent*floats.Norm(c.row, 2) {
			full = (c.least - floats.Dot(c.row, d.x.RawVector().Data)) / (length * length)
		}
		step := min(full, limit)
		if math.IsInf(step, 1) {
			return d.clash(p, r)
		}
		for i := range r {
			d.u[i] = max(d.u[i]-step*r[i], 0)
		}
		up += step
		if !math.IsInf(full, 1) {
			z := mat.NewVecDense(len(beyond), beyond)
			_ = z.SolveVec(d.l.T(), z) // factorised
			d.x.AddScaledVec(d.x, step, z)
		}
		if step == full {
			d.keep(p, up)
			return nil
		}
		d.drop(leaving)
	}
}

// clash returns the constraints that rule out p: its row is Σ r_i of theirs, with no r_i above 0.
func (d *dual) clash(p int, r []float64) error {
	e := &clashError{clash: []constraint{d.constraints[p]}}
	for i, a := range d.active {
		if r[i] < -1e-9 {
			e.clash = append(e.clash, d.constraints[a])
		}
	}
	return e
}

// split returns the part of row p as seen that the active rows do not span, and the rest as a sum
// of r_i of theirs. Orthogonalising twice is enough (W. Kahan and B. Parlett, in B. Parlett, The
// Symmetric Eigenvalue Problem, 1980, §6-9).
func (d *dual) split(p int) (beyond, r []float64) {
	beyond, r = d.orthogonal(p)
	for j := len(r) - 1; j >= 0; j-- {
		r[j] /= d.r[j][j]
		for i := range j {
			r[i] -= r[j] * d.r[j][i]
		}
	}
	return beyond, r
}

// orthogonal returns row p as seen, as Σ along[i]·q[i] and what is beyond them.
func (d *dual) orthogonal(p int) (beyond, along []float64) {
	if d.seen[p] == nil {
		row := mat.NewVecDense(len(d.g), append([]float64(nil), d.constraints[p].row...))
		_ = row.SolveVec(&d.l, row) // factorised
		d.seen[p] = row.RawVector().Data
	}
	beyond, along = append([]float64(nil), d.seen[p]...), make([]float64, len(d.q))
	for range 2 {
		for i, q := range d.q {
			by := floats.Dot(q, beyond)
			along[i] += by
			floats.AddScaled(beyond, -by, q)
		}
	}
	return beyond, along
}

// keep takes constraint p among those met with equality.
func (d *dual) keep(p int, u float64) {
	beyond, column := d.orthogonal(p)
	length := floats.Norm(beyond, 2)
	floats.Scale(1/length, beyond)
	d.active, d.u = append(d.active, p), append(d.u, u)
	d.q, d.r = append(d.q, beyond), append(d.r, append(column, length))
}

// drop lets active constraint i go, and makes the basis of those after it afresh.
func (d *dual) drop(i int) {
	rest, u := append([]int(nil), d.active[i+1:]...), append([]float64(nil), d.u[i+1:]...)
	d.active, d.u, d.q, d.r = d.active[:i], d.u[:i], d.q[:i], d.r[:i]
	for k, p := range rest {
		d.keep(p, u[k])
	}
}
