package coupling

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A Follower learns in passing, while somebody tunes as they like: it takes what is heard, string by string or all
// at once, finds out which string was turned, and says what to tune each to now. It serves one goroutine.
//
// Strings heard one by one: a string that reads otherwise than it did when it was heard last, no other having been
// heard since, was turned. The first reading of another string is evidence on the coupling, unless it lies so far
// from all that is believed that somebody must have turned that string before plucking it.
type Follower struct {
	labels []string
	before *Known

	now  *Adviser // what is believed
	base *Adviser // what was, when the string in hand was heard first
	hand int      // string heard last, by itself; -1: none
	was  Advice   // for it, at base
	read Reading  // of it, at base

	heard   []bool // strings, since the beginning
	checked []bool // strings, since the pass was over
	begun   bool   // all strings were heard, and a pass was planned
	record  Record
	baseLen int // moves of record at base
	taught  bool
	said    []string
	ended   func(*Follower)
}

const (
	// turnedCents is the least by which a string has moved that somebody has turned, in cents, and turnedSigmas
	// how sure that has to be. Plucks of one string differ by less; an estimate.
	turnedCents  = 0.6
	turnedSigmas = 4
	// thereCents is how near a string has to read to what it is to be tuned to, to need no turning: less than what
	// is seen as having been turned.
	thereCents = 0.5
	// unheardTurnCents is the least by which a string may be off what is believed and be taken to have been
	// turned before it was plucked. A slip of slipSD is less.
	unheardTurnCents = 2 * slipSD
)

// NewFollower begins with what is known of an instrument (nil: nothing).
func NewFollower(p *Prior, known *Known, labels []string) (*Follower, error) {
	l, err := NewLearner(p, known)
	if err != nil {
		return nil, err
	}
	if len(labels) != len(p.Strings) {
		return nil, fmt.Errorf("%d labels for %d strings", len(labels), len(p.Strings))
	}
	n := len(labels)
	f := &Follower{labels: labels, before: known, now: &Adviser{Learner: l}, hand: -1, heard: make([]bool, n), checked: make([]bool, n)}
	f.now.rest, f.now.tried = make([]bool, n), make([]int, n)
	f.base = f.now.copy()
	return f, nil
}

// Hear takes in the reading of a string that was heard by itself.
func (f *Follower) Hear(r Reading) error {
	if err := f.now.checkReadings([]Reading{r}); err != nil {
		return err
	}
	f.now.reach = 0
	return f.hear(r)
}

func (f *Follower) hear(r Reading) error {
	if r.String != f.hand {
		return f.first(r)
	}
	f.now = f.base.copy()
	f.record.Moves = f.record.Moves[:f.baseLen]
	if math.Abs(r.Cents-f.read.Cents) < max(turnedCents, turnedSigmas*math.Hypot(r.SigmaCents, f.read.SigmaCents)) {
		f.took(nil)
		return nil // the same, plucked again
	}
	if err := f.turned(f.was, r); err != nil {
		return err
	}
	f.took([]Reading{r})
	return nil
}

// first takes in the first reading of a string after another one was heard.
func (f *Follower) first(r Reading) error {
	i := r.String
	var err error
	if f.heard[i] && f.offCoupling(r) {
		err = f.turned(f.now.For(i), r)
	} else {
		f.taught = f.taught || f.now.stirred[i] && f.heard[i] && len(f.record.Moves) > 0
		err = f.now.Heard(r)
	}
	if err != nil {
		return err
	}
	f.took([]Reading{r})
	f.hand, f.read, f.was, f.base, f.baseLen = i, r, f.now.For(i), f.now.copy(), len(f.record.Moves)
	return nil
}

// offCoupling tells whether a reading cannot be what coupling, a slip or creep has done.
func (f *Follower) offCoupling(r Reading) bool {
	cents, sigma := f.now.Cents()
	return math.Abs(r.Cents-cents[r.String]) > max(unheardTurnCents, turnedSigmas*math.Hypot(sigma[r.String], r.SigmaCents))
}

// turned takes in a move, and what was heard of other strings after it.
func (f *Follower) turned(was Advice, to Reading, after ...Reading) error {
	was.String = to.String
	if err := f.now.Done(was, to, after...); err != nil {
		return err
	}
	f.taught = f.taught || len(after) > 1
	c, s := f.now.Cents()
	f.record.Moves = append(f.record.Moves, Move{String: to.String + 1, AimCents: was.NowCents, Cents: c, Sigma: s})
	return nil
}

// HearAll takes in a strum: several strings heard at once, by an ear that finds those within so many cents of
// their targets; no advice leads out of that. Strings that were turned since the last one are found by what explains
// all readings best. A strum that shows that strings were turned, but not what became of all of them, teaches nothing:
// one that it does not tell of may be what moved the others, and is to be heard before there is more advice.
func (f *Follower) HearAll(readings []Reading, reachCents float64) error {
	if err := f.now.checkReadings(readings); err != nil {
		return err
	}
	f.now.reach = reachCents
	if len(readings) == 1 {
		return f.hear(readings[0])
	}
	var fresh, old []Reading
	for _, r := range readings {
		if f.heard[r.String] {
			old = append(old, r)
		} else {
			fresh = append(fresh, r)
		}
	}
	turned := f.whoTurned(old)
	if missed := f.missed(readings); len(turned) > 0 && len(missed) > 0 {
		for _, i := range missed {
			f.now.forget(i)
			f.heard[i] = false
		}
		for _, r := range readings {
			f.now.forget(r.String)
		}
		turned = nil
	}
	var err error
	if len(turned) == 0 {
		err = f.now.Heard(readings...)
	}
	for k, r := range turned {
		after := readings
		if k < len(turned)-1 {
			after = nil // they were heard after the last of them
		}
		if err = f.turned(f.now.For(r.String), r, after...); err != nil {
			break
		}
	}
	if err != nil {
		return err
	}
	f.hand = -1
	f.took(append(old, fresh...))
	return nil
}

// missed returns the strings that were heard before, and that readings do not tell of.
func (f *Follower) missed(readings []Reading) (missed []int) {
	for i, ok := range f.heard {
		if ok && !slices.ContainsFunc(readings, func(r Reading) bool { return r.String == i }) {
			missed = append(missed, i)
		}
	}
	return missed
}

// whoTurned returns the readings of the strings that were turned before a strum, the surest first.
func (f *Follower) whoTurned(readings []Reading) []Reading {
	var turned []Reading
	l := f.now.clone()
	for range readings {
		best, at := math.Inf(-1), -1
		var next *Learner
		least := turnedCents
		if len(turned) > 0 {
			least = unheardTurnCents // less may have slipped
		}
		cents, sigma := l.Cents()
		for k, r := range readings {
			off := math.Abs(r.Cents - cents[r.String])
			if slices.Contains(turned, r) || off < max(least, turnedSigmas*math.Hypot(sigma[r.String], r.SigmaCents)) {
				continue
			}
			c := l.clone()
			c.turn(r, nil)
			if fit := c.likelihood(readings, append(turned, r)); fit > best {
				best, at, next = fit, k, c
			}
		}
		if at < 0 {
			break
		}
		turned, l = append(turned, readings[at]), next
	}
	return turned
}

// likelihood returns the logarithm of that of readings, but for those of strings that were turned.
func (l *Learner) likelihood(readings, but []Reading) float64 {
	q := l.prior.count()
	var of []Reading
	for _, r := range readings {
		if !slices.Contains(but, r) {
			of = append(of, r)
		}
	}
	if len(of) == 0 {
		return 0
	}
	s, off := mat.NewSymDense(len(of), nil), mat.NewVecDense(len(of), nil)
	for a, ra := range of {
		for b := a; b < len(of); b++ {
			s.SetSym(a, b, l.cov.At(q+ra.String, q+of[b].String))
		}
		s.SetSym(a, a, s.At(a, a)+ra.SigmaCents*ra.SigmaCents)
		off.SetVec(a, ra.Cents-l.mean[q+ra.String])
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		return math.Inf(-1)
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, off) != nil {
		return math.Inf(-1)
	}
	return -(mat.Dot(off, &x) + chol.LogDet()) / 2
}

// took notes which strings were heard, and begins and ends passes.
func (f *Follower) took(readings []Reading) {
	for _, o := range f.now.TakeOdd() {
		f.said = append(f.said, o.Words())
	}
	for _, r := range readings {
		f.heard[r.String] = true
	}
	if slices.Contains(f.heard, false) {
		return
	}
	for _, r := range readings {
		if f.now.rest[r.String] && math.Abs(r.Cents-f.now.For(r.String).NowCents) < thereCents {
			f.now.moved(r.String, false)
		}
	}
	over := !slices.Contains(f.now.rest, true)
	if f.begun && over {
		for _, r := range readings {
			f.checked[r.String] = true
		}
	}
	if f.begun && (!over || slices.Contains(f.checked, false)) {
		return
	}
	cents, _ := f.now.Cents()
	if !f.begun || slices.ContainsFunc(cents, func(c float64) bool { return math.Abs(c) > InTuneCents }) {
		f.begin()
	}
}

// begin plans a pass from what is believed now.
func (f *Follower) begin() {
	f.begun = true
	clear(f.checked)
	f.now.begin(nil)
	f.record = Record{Labels: f.labels}
	f.record.Start, f.record.StartSigma = f.now.Cents()
	for _, s := range f.now.Forecast(UsualPegSigma, UsualReadingSigma) {
		f.record.Forecast = append(f.record.Forecast, Move{String: s.String + 1, AimCents: s.NowCents, Cents: s.Cents, Sigma: s.SigmaCents})
	}
	if f.passEmpty() {
		for i := range f.checked {
			f.checked[i] = true // they were heard just now, and are in tune
		}
	}
}

func (f *Follower) passEmpty() bool { return !slices.Contains(f.now.rest, true) }

// OnEnd has ended called when nobody will tell the follower anything any more, from the goroutine that did.
func (f *Follower) OnEnd(ended func(*Follower)) { f.ended = ended }

// End tells that nothing more is heard.
func (f *Follower) End() {
	if f.ended != nil {
		f.ended(f)
	}
}

// Taught tells whether anything was heard that teaches how the strings pull on each other.
func (f *Follower) Taught() bool { return f.taught }

// Known returns what has been learned, to be kept.
func (f *Follower) Known() *Known { return f.now.Known(f.before) }

// Loses is that of what is believed now.
func (f *Follower) Loses() [][]float64 { return f.now.Loses() }

// Record returns the pass so far.
func (f *Follower) Record() Record { return f.record.clone() }

// TakeSaid returns what has moved by itself, in words, since the last call.
func (f *Follower) TakeSaid() []string {
	said := f.said
	f.said = nil
	return said
}
