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
// cannot be met in full has a plan that comes nearest, with Obstacles.
func Solve(p Problem) (*Plan, error) {
	p = p.withDefaults()
	if err := p.check(); err != nil {
		return nil, err
	}
	x, err := p.settle(p.bounds())
	if err != nil {
		return nil, err
	}
	for i := range x {
		x[i] = math.Round(x[i]*1e6) / 1e6 // no peg goes finer, and files read better
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
		q.atLeast(k, 1, s.bounds[i].lo)
		q.atLeast(k, -1, -s.bounds[i].hi)
	}
	return q
}

// atLeast demands by·x_k ≥ least.
func (q *quadratic) atLeast(k int, by, least float64) {
	row := make([]float64, len(q.g))
	row[k] = by
	q.rows, q.least = append(q.rows, row), append(q.least, least)
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

// An Obstacle is something that keeps a chord from being pure.
type Obstacle struct {
	String int     // that would have to move farther; 0: chords contradict one another
	Needs  float64 // cents that it would have to be moved by
	Has    float64 // cents that it may be moved by
	ByLoad bool    // the limit is one of tension
	Text   string
}

// missed is by how many cents a note may be off and still be met.
const missed = 0.01

// obstacles says what stands in the way of the chords, if they are not all met.
func (p *Problem) obstacles(x []float64) ([]Obstacle, error) {
	demands, err := p.demands(p.Chords, x)
	if err != nil {
		return nil, err
	}
	met := true
	for _, d := range demands {
		for _, off := range d.errors(x) {
			met = met && math.Abs(off) <= missed
		}
	}
	if met {
		return nil, nil
	}
	atLimit, err := p.limitObstacles(x)
	if err != nil {
		return nil, err
	}
	return append(atLimit, p.contradictions(demands)...), nil
}

// limitObstacles names the strings at a limit that they would pass if there were none.
func (p *Problem) limitObstacles(x []float64) ([]Obstacle, error) {
	bounds := p.bounds()
	free := make([]bound, len(bounds))
	for i := range free {
		if i+1 != p.Anchor {
			free[i] = bound{-1200, 1200, false}
		}
	}
	wanted, err := p.settle(free)
	if err != nil {
		return nil, err
	}
	var found []Obstacle
	for i, b := range bounds {
		o := Obstacle{String: i + 1, Needs: wanted[i]}
		switch label := p.Instrument.Strings[i].Open.Label; {
		case x[i] >= b.hi-1e-6 && wanted[i] > b.hi+missed:
			o.Has, o.ByLoad = b.hi, b.byLoad
			o.Text = fmt.Sprintf("string %d (%s) would have to rise by %.2f cents; %s %.2f", i+1, label, o.Needs, limitWords(b.byLoad), o.Has)
		case x[i] <= b.lo+1e-6 && wanted[i] < b.lo-missed:
			o.Has = b.lo
			o.Text = fmt.Sprintf("string %d (%s) would have to fall by %.2f cents; the limit is %.2f", i+1, label, -o.Needs, -o.Has)
		default:
			continue
		}
		found = append(found, o)
	}
	return found, nil
}

func limitWords(byLoad bool) string {
	if byLoad {
		return "the tension limit allows"
	}
	return "the limit is"
}

// contradictions finds chords that ask for what the chords before them rule out. Every chord ties
// its strings to one another; a tie between strings that are tied already must agree.
func (p *Problem) contradictions(demands []demand) []Obstacle {
	ties := newTies(len(p.Instrument.Strings))
	var found []Obstacle
	for _, d := range demands {
		first := d.notes[0]
		for _, n := range d.notes[1:] {
			wanted := first.base - n.base // x of n minus x of first
			tied, fixed := ties.tie(first.str, n.str, wanted)
			if tied && math.Abs(wanted-fixed) > missed {
				found = append(found, Obstacle{Text: fmt.Sprintf(
					"chord %s wants string %d moved by %+.2f cents against string %d, the chords before it by %+.2f",
					d.chord.String(), n.str+1, hundredths(wanted), first.str+1, hundredths(fixed))})
			}
		}
	}
	return found
}

// hundredths rounds for display, so that what is nothing has no sign.
func hundredths(cents float64) float64 { return math.Round(cents*100)/100 + 0 }

// ties are strings whose moves are tied together by a difference.
type ties struct {
	parent []int
	above  []float64 // the move of a string minus that of its parent
}

func newTies(n int) *ties {
	t := &ties{make([]int, n), make([]float64, n)}
	for i := range t.parent {
		t.parent[i] = i
	}
	return t
}

func (t *ties) root(i int) (root int, above float64) {
	for t.parent[i] != i {
		above += t.above[i]
		i = t.parent[i]
	}
	return i, above
}

// tie sets the move of b minus that of a, unless they are tied already, and returns whether they
// were and by how much.
func (t *ties) tie(a, b int, difference float64) (tied bool, fixed float64) {
	rootA, aboveA := t.root(a)
	rootB, aboveB := t.root(b)
	if rootA == rootB {
		return true, aboveB - aboveA
	}
	t.parent[rootB], t.above[rootB] = rootA, aboveA+difference-aboveB
	return false, difference
}
