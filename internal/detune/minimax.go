package detune

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// slack is by how much the worst error of the second step may be above that of the first, in cents:
// above the rounding of both.
const slack = 1e-8

// worstError minimises the largest w_j·|base_i + x_i − t_j| of all notes, and among the moves that
// do, of which there may be many, takes those of least squares.
func (s *system) worstError() ([]float64, error) {
	q := s.quadratic()
	limit := s.leastWorst() + slack
	for _, d := range s.demands {
		for i := range d.notes {
			for k := range d.notes {
				if i != k {
					q.within(s, d.chord, d.notes[i], d.notes[k], 2*limit*s.scale/d.weight)
				}
			}
		}
	}
	x, err := q.solve()
	if err != nil {
		return nil, err
	}
	return s.moves(x), nil
}

// within demands that note b of a chord is at most so many cents farther off than note a. If all
// pairs keep that, both ways, a root exists from which no note is off by more than half of it.
// Two notes that stay are what they are: the least worst error has taken account of them.
func (q *quadratic) within(s *system, chord *Chord, a, b demandNote, most float64) {
	row := make([]float64, len(q.g))
	if k := s.column[a.str]; k >= 0 {
		row[k] = 1
	}
	if k := s.column[b.str]; k >= 0 {
		row[k] = -1
	}
	if floats.Norm(row, 1) > 0 {
		q.constraints = append(q.constraints, constraint{row, b.base - a.base - most, noteSpread{chord, a.str + 1, b.str + 1, most}})
	}
}

// A noteSpread is the constraint that two notes of a chord are at most so many cents apart in their
// errors.
type noteSpread struct {
	chord *Chord
	a, b  int // strings, from 1
	most  float64
}

func (n noteSpread) String() string {
	return fmt.Sprintf("strings %d and %d of chord %s within %.2f cents", n.a, n.b, n.chord.String(), n.most)
}

// leastWorst returns the solution of the linear programme
//
//	minimise e  subject to  ±w_j·(base_i + x_i − t_j) ≤ e,  lo_i ≤ x_i ≤ hi_i
//
// Every condition bounds the difference of two unknowns (limits: of one and a fixed zero). For a
// given e such a system can be met if and only if the graph that has the unknowns as nodes and the
// bounds as lengths of edges has no cycle of negative length, and the shortest distances then meet
// it (R. Bellman, Quarterly of Applied Mathematics 16, 87, 1958). The least e is bisected, to less
// than a tenth of slack.
func (s *system) leastWorst() float64 {
	lo, hi := 0.0, 0.0
	for _, d := range s.demands {
		for _, n := range d.notes {
			hi = max(hi, 2*d.weight/s.scale*math.Abs(n.base)) // from a root at 0, nothing moved
		}
	}
	for hi-lo > slack/10 {
		if e := (lo + hi) / 2; s.canKeep(e) {
			hi = e
		} else {
			lo = e
		}
	}
	return hi
}

// A differenceBound says that unknown to is at most so much above unknown from.
type differenceBound struct {
	from, to int
	most     float64
}

// canKeep says whether there are moves within the limits by which no weighted error is above e.
// Unknowns are all moves, then all roots, then the zero.
func (s *system) canKeep(e float64) bool {
	strings, zero := len(s.bounds), len(s.bounds)+len(s.demands)
	var all []differenceBound
	for i, b := range s.bounds {
		all = append(all, differenceBound{zero, i, b.hi}, differenceBound{i, zero, -b.lo})
	}
	for j, d := range s.demands {
		most := e * s.scale / d.weight
		for _, n := range d.notes {
			all = append(all, differenceBound{strings + j, n.str, most - n.base}, differenceBound{n.str, strings + j, most + n.base})
		}
	}
	distance := make([]float64, zero+1)
	for range distance {
		shorter := false
		for _, b := range all {
			if d := distance[b.from] + b.most; d < distance[b.to]-1e-12 { // rounding of sums of cents
				distance[b.to], shorter = d, true
			}
		}
		if !shorter {
			return true
		}
	}
	return false
}
