package detune

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// A quadratic is the problem to minimise ½·xᵀHx + gᵀx subject to rows·x ≥ least, with H positive
// definite.
type quadratic struct {
	h     *mat.SymDense
	g     []float64
	rows  [][]float64
	least []float64

	chol   mat.Cholesky
	solved []*mat.VecDense // H⁻¹·rowᵀ, by row
}

var (
	errNotConvex  = errors.New("the weights are too far apart to be balanced")
	errInfeasible = errors.New("the limits contradict one another")
)

// violation is by how much a constraint may be missed, in the units of least (cents).
const violation = 1e-9

// solve returns the minimum, by the dual method of D. Goldfarb and A. Idnani, Mathematical
// Programming 27, 1 (1983): start at the free minimum, and take in one violated constraint after
// another while the multipliers of those taken in stay at or above 0.
func (q *quadratic) solve() ([]float64, error) {
	if !q.chol.Factorize(q.h) {
		return nil, errNotConvex
	}
	q.solved = make([]*mat.VecDense, len(q.rows))
	x := mat.NewVecDense(len(q.g), nil)
	if err := q.chol.SolveVecTo(x, mat.NewVecDense(len(q.g), q.g)); err != nil {
		return nil, errNotConvex
	}
	x.ScaleVec(-1, x)
	var active activeSet
	for range 100 * (len(q.rows) + 1) {
		p := q.mostViolated(x.RawVector().Data)
		if p < 0 {
			return x.RawVector().Data, nil
		}
		if err := q.takeIn(p, x, &active); err != nil {
			return nil, err
		}
	}
	return nil, errors.New("the plan does not settle")
}

// An activeSet holds the rows that are met with equality, and their multipliers.
type activeSet struct {
	rows []int
	u    []float64
}

func (a *activeSet) drop(i int) {
	a.rows = append(a.rows[:i], a.rows[i+1:]...)
	a.u = append(a.u[:i], a.u[i+1:]...)
}

func (q *quadratic) mostViolated(x []float64) int {
	worst, p := violation, -1
	for i, row := range q.rows {
		if short := q.least[i] - floats.Dot(row, x); short > worst {
			worst, p = short, i
		}
	}
	return p
}

// takeIn moves x until row p is met, dropping rows whose multipliers would fall below 0.
func (q *quadratic) takeIn(p int, x *mat.VecDense, active *activeSet) error {
	up := 0.0
	for {
		z, r := q.directions(p, active.rows)
		dual, leaving := math.Inf(1), -1
		for i := range r {
			if r[i] > 0 && active.u[i]/r[i] < dual {
				dual, leaving = active.u[i]/r[i], i
			}
		}
		primal, slope := math.Inf(1), floats.Dot(q.rows[p], z.RawVector().Data)
		if slope > 1e-12*floats.Dot(q.rows[p], q.bySolved(p).RawVector().Data) {
			primal = (q.least[p] - floats.Dot(q.rows[p], x.RawVector().Data)) / slope
		}
		step := min(primal, dual)
		if math.IsInf(step, 1) {
			return errInfeasible
		}
		floats.AddScaled(active.u, -step, r)
		up += step
		if !math.IsInf(primal, 1) {
			x.AddScaledVec(x, step, z)
		}
		if step == primal {
			active.rows, active.u = append(active.rows, p), append(active.u, up)
			return nil
		}
		active.drop(leaving)
	}
}

// directions returns how x and the multipliers of the active rows change as the multiplier of
// row p grows.
func (q *quadratic) directions(p int, active []int) (z *mat.VecDense, r []float64) {
	z = mat.VecDenseCopyOf(q.bySolved(p))
	n := len(active)
	if n == 0 {
		return z, nil
	}
	m, v := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i, a := range active {
		for j, b := range active {
			m.Set(i, j, floats.Dot(q.rows[a], q.bySolved(b).RawVector().Data))
		}
		v.SetVec(i, floats.Dot(q.rows[a], z.RawVector().Data))
	}
	_ = v.SolveVec(m, v) // active rows are independent; an ill-conditioned step is mended by the next
	for i, a := range active {
		z.AddScaledVec(z, -v.AtVec(i), q.bySolved(a))
	}
	return z, v.RawVector().Data
}

func (q *quadratic) bySolved(p int) *mat.VecDense {
	if q.solved[p] == nil {
		q.solved[p] = mat.NewVecDense(len(q.g), nil)
		_ = q.chol.SolveVecTo(q.solved[p], mat.NewVecDense(len(q.g), q.rows[p])) // factorised
	}
	return q.solved[p]
}
