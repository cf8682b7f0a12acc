package detune

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// stay is the weight of a string's own move, against 1 of a note's error: so small that the error
// it causes is below 10⁻⁵ of the move times the number of chords, yet it settles what is free.
const stay = 1e-8

// Solve returns the plan for a problem. Errors tell of a problem that makes no sense; one that
// cannot be met in full has a plan that comes nearest, with Obstacles. A chord that starts too far
// from what it is to be is a *FarError.
func Solve(p Problem) (*Plan, error) {
	p = p.withDefaults()
	if err := p.check(); err != nil {
		return nil, err
	}
	if err := p.near(); err != nil {
		return nil, err
	}
	bounds := p.bounds()
	x, err := p.settle(bounds)
	if err != nil {
		return nil, err
	}
	for i, b := range bounds {
		x[i] = min(max(math.Round(x[i]*1e6)/1e6, b.lo), b.hi) // no peg goes finer, and files read better
	}
	plan := &Plan{
		Instrument: p.Instrument, Chords: p.Chords, Method: p.Method, PureBy: p.PureBy,
		Anchor: p.Anchor, Cents: x, Measured: p.Measured,
	}
	if plan.Obstacles, err = p.obstacles(x); err != nil {
		return nil, err
	}
	return plan, nil
}

// settle solves within bounds, and again with the stiffness of the strings as moved: tension, and
// with it B, changes by 0.1% a cent.
func (p *Problem) settle(bounds []bound) ([]float64, error) {
	x := make([]float64, len(bounds))
	chords, rounds := p.balanced(), 1
	if p.PureBy == ByPartials {
		rounds = 4 // each is off by a thousandth of the one before
	}
	for range rounds {
		demands, err := p.demands(chords, x)
		if err != nil {
			return nil, err
		}
		if x, err = p.balance(demands, bounds); err != nil {
			return nil, err
		}
	}
	return x, nil
}

// balance solves demands with the method asked for.
func (p *Problem) balance(demands []demand, bounds []bound) ([]float64, error) {
	s := newSystem(demands, bounds)
	if len(s.strings) == 0 {
		return make([]float64, len(bounds)), nil
	}
	switch p.Method {
	case WorstError:
		return s.worstError()
	case BeatEnergy:
		return p.beatEnergy(s)
	}
	return s.leastSquares()
}

// A system is demands on the strings that may move.
type system struct {
	demands []demand
	bounds  []bound
	strings []int // that may move and have a part in a demand, from 0
	column  []int // of every string in the unknowns; -1: it stays
	scale   float64
}

func newSystem(demands []demand, bounds []bound) *system {
	s := &system{demands: demands, bounds: bounds, column: make([]int, len(bounds))}
	for i := range s.column {
		s.column[i] = -1
	}
	for _, d := range demands {
		s.scale = max(s.scale, d.weight)
		for _, n := range d.notes {
			if b := bounds[n.str]; b.hi > b.lo && s.column[n.str] < 0 {
				s.column[n.str] = len(s.strings)
				s.strings = append(s.strings, n.str)
			}
		}
	}
	return s
}

// moves spreads the unknowns over all strings, within their bounds to the last bit.
func (s *system) moves(unknowns []float64) []float64 {
	x := make([]float64, len(s.bounds))
	for k, i := range s.strings {
		x[i] = min(max(unknowns[k], s.bounds[i].lo), s.bounds[i].hi)
	}
	return x
}

// leastSquares minimises Σ_j w_j Σ_i (base_i + x_i − t_j)² + stay·Σx².
func (s *system) leastSquares() ([]float64, error) {
	q := s.quadratic()
	x, err := q.solve()
	if err != nil {
		return nil, err
	}
	return s.moves(x), nil
}

// quadratic sets up least squares within the bounds. The roots are eliminated: each is the mean of
// its chord.
func (s *system) quadratic() *quadratic {
	n := len(s.strings)
	q := &quadratic{h: mat.NewSymDense(n, nil), g: make([]float64, n)}
	for _, d := range s.demands {
		q.add(s, d)
	}
	for k, i := range s.strings {
		q.h.SetSym(k, k, q.h.At(k, k)+stay)
		q.atLeast(k, 1, s.bounds[i].lo, moveLimit{i + 1, s.bounds[i]})
		q.atLeast(k, -1, -s.bounds[i].hi, moveLimit{i + 1, s.bounds[i]})
	}
	return q
}

// atLeast demands by·x_k ≥ least.
func (q *quadratic) atLeast(k int, by, least float64, about fmt.Stringer) {
	row := make([]float64, len(q.g))
	row[k] = by
	q.constraints = append(q.constraints, constraint{row, least, about})
}

// A moveLimit is the constraint that a bound sets.
type moveLimit struct {
	str int // from 1
	bound
}

func (m moveLimit) String() string {
	return fmt.Sprintf("string %d moved by %+.2f to %+.2f cents", m.str, hundredths(m.lo), hundredths(m.hi))
}

// add adds the squares of a demand's errors about their mean.
func (q *quadratic) add(s *system, d demand) {
	w := d.weight / s.scale
	mean := 0.0
	for _, a := range d.notes {
		mean += a.base / float64(len(d.notes))
	}
	for i, a := range d.notes {
		k := s.column[a.str]
		if k < 0 {
			continue
		}
		q.g[k] += w * (a.base - mean)
		q.h.SetSym(k, k, q.h.At(k, k)+w)
		for _, b := range d.notes[:i+1] {
			if l := s.column[b.str]; l >= 0 {
				q.h.SetSym(k, l, q.h.At(k, l)-w/float64(len(d.notes)))
			}
		}
	}
}

// errors returns how far each note of a demand is off its chord's mean.
func (d *demand) errors(x []float64) []float64 {
	off := make([]float64, len(d.notes))
	mean := 0.0
	for i, n := range d.notes {
		off[i] = n.base + x[n.str]
		mean += off[i] / float64(len(off))
	}
	for i := range off {
		off[i] -= mean
	}
	return off
}
