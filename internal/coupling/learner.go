package coupling

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A Reading is what one string was heard at.
type Reading struct {
	String     int // from 0
	Cents      float64
	SigmaCents float64
}

// A Learner holds what is believed of an instrument: an extended Kalman filter on the params and on the cents
// that each string sounds at now. No peg's way and no history is in it.
type Learner struct {
	prior *Prior
	mean  []float64     // params, then cents
	cov   *mat.SymDense // of mean
	// turned tells which strings were turned since they were last heard by themselves, and may have slipped
	// since; stirred, which may have moved because any string was turned.
	turned, stirred []bool
	creepCents      float64
	odd             []Odd
}

// An Odd is a reading that coupling does not explain: nothing was turned that could have done it.
type Odd struct {
	String int
	Cents  float64 // by which it sounds away from what was expected
	Turned bool    // it was turned before: its peg slipped. Otherwise it moved by itself: it creeps, or was touched
}

// What is believed of strings that move by themselves. A slip is an unannounced move of so many cents, one
// reading in twenty before it is looked at: estimates, and those of the simulated hand are other ones.
const (
	slipSD   = 3
	slipOdds = 0.05 / 0.95
)

// How much wider what was learned gets from one session to the next, in logarithms: pegs, weather and string
// changes of months. An estimate.
const (
	nextSessionSD      = 0.02
	nextSessionLeverSD = 0.005
)

// unheardSD is the spread, in cents, of a string that was never heard: half a tone is out of tune indeed.
const unheardSD = 60

// farthest is how many standard deviations of the prior a weight may go from its median, and a single step
// from what was believed: further out the linearised model says nothing.
const (
	farthest    = 3.5
	longestStep = 3
)

// NewLearner returns one that knows what is known (nil: nothing) and has heard no string yet.
func NewLearner(p *Prior, known *Known) (*Learner, error) {
	n, q := len(p.Strings), p.count()
	l := &Learner{
		prior: p, mean: append(p.mean(), make([]float64, n)...), cov: mat.NewSymDense(q+n, nil),
		turned: make([]bool, n), stirred: make([]bool, n),
	}
	for i, sd := range p.sd() {
		l.cov.SetSym(i, i, sd*sd)
	}
	if known != nil {
		if err := known.fits(p); err != nil {
			return nil, err
		}
		copy(l.mean, known.Mean)
		for i := range q {
			sd := nextSessionSD
			if i >= q-n {
				sd = nextSessionLeverSD
			}
			for j := i; j < q; j++ {
				l.cov.SetSym(i, j, known.Covariance[i][j])
			}
			l.cov.SetSym(i, i, l.cov.At(i, i)+sd*sd)
		}
	}
	for i := range n {
		l.cov.SetSym(q+i, q+i, unheardSD*unheardSD)
		l.stirred[i] = true
	}
	return l, nil
}

// Creeping tells the learner that strings creep by about so many cents between two moves, as new nylon does.
func (l *Learner) Creeping(cents float64) { l.creepCents = cents }

// Cents returns what each string is believed to sound at, and σ.
func (l *Learner) Cents() (cents, sigma []float64) {
	q, n := l.prior.count(), len(l.prior.Strings)
	sigma = make([]float64, n)
	for i := range n {
		sigma[i] = math.Sqrt(l.cov.At(q+i, q+i))
	}
	return slices.Clone(l.mean[q:]), sigma
}

// TakeOdd returns what was heard that coupling does not explain, since the last call.
func (l *Learner) TakeOdd() []Odd {
	odd := l.odd
	l.odd = nil
	return odd
}

func (l *Learner) response() *response { return l.prior.respond(l.mean[:l.prior.count()]) }

func (l *Learner) clone() *Learner {
	c := *l
	c.mean = slices.Clone(l.mean)
	c.cov = mat.NewSymDense(len(l.mean), nil)
	c.cov.CopySym(l.cov)
	c.turned, c.stirred, c.odd = slices.Clone(l.turned), slices.Clone(l.stirred), slices.Clone(l.odd)
	return &c
}

// checkReadings refuses what is no reading of this instrument.
func (l *Learner) checkReadings(all []Reading) error {
	seen := make([]bool, len(l.prior.Strings))
	for _, r := range all {
		switch {
		case r.String < 0 || r.String >= len(seen):
			return fmt.Errorf("string %d: there are strings 1 to %d", r.String+1, len(seen))
		case seen[r.String]:
			return fmt.Errorf("string %d is read twice at once", r.String+1)
		case !(math.Abs(r.Cents) <= 2400):
			return fmt.Errorf("string %d: %g cents is not within two octaves of its target", r.String+1, r.Cents)
		case !(r.SigmaCents > 0) || math.IsInf(r.SigmaCents, 1):
			return fmt.Errorf("string %d: its reading has no σ above 0", r.String+1)
		}
		seen[r.String] = true
	}
	return nil
}

// Heard takes in strings that were heard while none was turned.
func (l *Learner) Heard(readings ...Reading) error {
	if err := l.checkReadings(readings); err != nil {
		return err
	}
	l.read(readings)
	return nil
}

// Turned takes in that a string was turned until it read so, and what was heard of all the strings after it
// (none: only that string was heard). What the string sounded at before is what is believed of it: hear it
// first where that is not known.
func (l *Learner) Turned(to Reading, after ...Reading) error {
	if err := errors.Join(l.checkReadings([]Reading{to}), l.checkReadings(after)); err != nil {
		return err
	}
	if len(after) == 0 {
		l.turn(to, nil)
		return nil
	}
	// The effect depends on params that its own reading mends, so it is linearised again about those, until
	// they stay. A step of more than a factor of e leaves what the slopes tell.
	q := l.prior.count()
	before := l.clone()
	y := slices.Clone(before.mean[:q])
	for range mostLinearised {
		again := before.clone()
		again.turn(to, y)
		again.read(after)
		*l = *again
		most := 0.0
		for i := range y {
			far := longestStep * math.Sqrt(before.cov.At(i, i))
			step := min(max(again.mean[i], before.mean[i]-far), before.mean[i]+far) - y[i]
			most = max(most, math.Abs(step))
			y[i] += min(max(step, -1), 1)
		}
		if most < settledStep {
			break
		}
	}
	return nil
}

// How often a move is linearised at most, and the step, in logarithms, below which it need not be again.
const (
	mostLinearised = 12
	settledStep    = 0.03
)

// turn moves the belief as a move of one string does, linearised about y (nil: what is believed).
func (l *Learner) turn(to Reading, y params) {
	p, q, n, i := l.prior, l.prior.count(), len(l.prior.Strings), to.String
	if y == nil {
		y = slices.Clone(l.mean[:q])
	}
	r := p.respond(y)
	cents := slices.Clone(l.mean[q:])
	next := p.after(r, cents, i, to.Cents)
	old := p.Strings[i].TensionN * math.Exp(logPerCent*cents[i])
	now := p.Strings[i].TensionN * math.Exp(logPerCent*to.Cents)
	slopes := p.slopes(r, i)

	// forward is ∂next/∂(params, cents), cause ∂next/∂(reading of the string in hand).
	forward := mat.NewDense(n, q+n, nil)
	cause := mat.NewVecDense(q+n, nil)
	cause.SetVec(q+i, 1)
	for j := range n {
		if j == i {
			continue
		}
		s := &p.Strings[j]
		t := s.TensionN * math.Exp(logPerCent*cents[j])
		t2 := max(t+r.pull(j, i)*(now-old), slackest*t)
		m := s.heard()
		for o := range q {
			f := m * (now - old) / t2 / logPerCent * slopes.At(j, o)
			forward.Set(j, o, f)
			next[j] += f * (l.mean[o] - y[o])
		}
		forward.Set(j, q+j, 1+m*(t/t2-1))
		forward.Set(j, q+i, -m*old/t2*r.pull(j, i))
		cause.SetVec(q+j, m*now/t2*r.pull(j, i))
	}
	var rows, square mat.Dense
	rows.Mul(forward, l.cov)
	square.Mul(&rows, forward.T())
	for a := range n {
		for o := range q {
			l.cov.SetSym(o, q+a, rows.At(a, o))
		}
		for b := a; b < n; b++ {
			l.cov.SetSym(q+a, q+b, (square.At(a, b)+square.At(b, a))/2)
		}
	}
	l.cov.SymRankOne(l.cov, to.SigmaCents*to.SigmaCents, cause)
	for j := range n {
		v := l.creepCents * l.creepCents
		if j != i {
			v += math.Pow(p.miss*(next[j]-cents[j]), 2)
			l.stirred[j] = true
		}
		l.cov.SetSym(q+j, q+j, l.cov.At(q+j, q+j)+v)
	}
	copy(l.mean[q:], next)
	l.turned[i], l.stirred[i] = true, false
}

// read takes in readings. Those of strings that may have moved by themselves are tested for it first.
func (l *Learner) read(readings []Reading) {
	if len(readings) == 0 {
		return
	}
	q := l.prior.count()
	for range min(len(readings), 4) {
		if !l.letSlip(readings) {
			break
		}
	}
	k, dim := len(readings), len(l.mean)
	s := mat.NewSymDense(k, nil)
	cross := mat.NewDense(k, dim, nil)
	off := mat.NewVecDense(k, nil)
	for a, ra := range readings {
		for b := a; b < k; b++ {
			s.SetSym(a, b, l.cov.At(q+ra.String, q+readings[b].String))
		}
		s.SetSym(a, a, s.At(a, a)+ra.SigmaCents*ra.SigmaCents)
		for o := range dim {
			cross.Set(a, o, l.cov.At(q+ra.String, o))
		}
		off.SetVec(a, ra.Cents-l.mean[q+ra.String])
	}
	inv := inverse(s)
	var gain, taken mat.Dense // gain is transposed: k × dim
	gain.Mul(inv, cross)
	var step mat.VecDense
	step.MulVec(gain.T(), off)
	for o := range dim {
		l.mean[o] += step.AtVec(o)
	}
	for m := range l.prior.modes {
		md := &l.prior.modes[m]
		l.mean[m] = min(max(l.mean[m], md.logWeight-farthest*md.logSD), md.logWeight+farthest*md.logSD)
	}
	taken.Mul(cross.T(), &gain)
	for a := range dim {
		for b := a; b < dim; b++ {
			l.cov.SetSym(a, b, l.cov.At(a, b)-(taken.At(a, b)+taken.At(b, a))/2)
		}
		if l.cov.At(a, a) < 1e-12 { // rounding
			l.cov.SetSym(a, a, 1e-12)
		}
	}
	for _, r := range readings {
		l.turned[r.String], l.stirred[r.String] = false, false
	}
}

// letSlip finds the string whose reading is best explained by a move of its own, lets it have moved, and
// tells whether there was one. The others have followed it.
func (l *Learner) letSlip(readings []Reading) bool {
	q, n := l.prior.count(), len(l.prior.Strings)
	best, at := 0.0, -1
	for a, r := range readings {
		if !l.turned[r.String] && l.stirred[r.String] {
			continue // other strings may have moved it: that is evidence on the coupling
		}
		v := l.cov.At(q+r.String, q+r.String) + r.SigmaCents*r.SigmaCents
		wide := v + slipSD*slipSD
		nu := r.Cents - l.mean[q+r.String]
		if odds := math.Log(slipOdds) + (math.Log(v/wide)+nu*nu*(1/v-1/wide))/2; odds > best {
			best, at = odds, a
		}
	}
	if at < 0 {
		return false
	}
	i := readings[at].String
	l.odd = append(l.odd, Odd{String: i, Cents: readings[at].Cents - l.mean[q+i], Turned: l.turned[i]})
	r := l.response()
	along := mat.NewVecDense(q+n, nil)
	for j := range n {
		along.SetVec(q+j, r.pull(j, i)*l.prior.Strings[j].heard()*l.prior.Strings[i].TensionN/l.prior.Strings[j].TensionN)
	}
	along.SetVec(q+i, 1)
	l.cov.SymRankOne(l.cov, slipSD*slipSD, along)
	l.turned[i], l.stirred[i] = false, true
	return true
}

// forget makes the learner know nothing of where string i is.
func (l *Learner) forget(i int) {
	at := l.prior.count() + i
	for j := range l.mean {
		l.cov.SetSym(at, j, 0)
	}
	l.cov.SetSym(at, at, unheardSD*unheardSD)
	l.mean[at] = 0
	l.turned[i], l.stirred[i] = false, true
}

// Loses returns what string j loses in cents for one cent more on string i, from small moves: the map of who
// pulls whom.
func (l *Learner) Loses() [][]float64 {
	r, strs := l.response(), l.prior.Strings
	out := make([][]float64, len(strs))
	for j := range strs {
		out[j] = make([]float64, len(strs))
		for i := range strs {
			if i != j {
				out[j][i] = -r.pull(j, i) * strs[i].TensionN / strs[j].TensionN * strs[j].heard()
			}
		}
	}
	return out
}

// LosesPer is Loses for so many cents more.
func (l *Learner) LosesPer(cents float64) [][]float64 {
	all := l.Loses()
	for _, row := range all {
		for i := range row {
			row[i] *= cents
		}
	}
	return all
}
