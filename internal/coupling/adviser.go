package coupling

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// InTuneCents: in tune is a reading within so many cents of the target; see also Adviser.
const InTuneCents = 1

const (
	// plannedCents is what a string may be off after the pass, as far as is known, without being turned: less
	// than InTuneCents, since what is known is not sure. Tuned on simulated floating bridges and banjos.
	plannedCents = 0.8
	// Where no string moves another by as much as stiffPull, a string that may stay is better heard after
	// the pass than turned in it: it costs no other string anything. laterCents is what such a one may be off,
	// and one that was turned already.
	// Tuned on simulated guitars and long necks, one string of which is 31 cents off: with 0.8 cents the
	// guitar took 0.46 moves a string, with 1.5 it takes 0.34, as round and round does.
	stiffPull  = 0.05
	laterCents = 1.5
	// againSigmas is how sure it has to be that a string that was turned ends off, for it to be turned once more.
	againSigmas = 2
	// guardCents and guardSigmas keep every string below its limit: the hand's miss, and what is not known.
	guardCents  = 4
	guardSigmas = 2
	// A string whose target itself is that near its limit may still come to it, or the others could never be
	// turned: whoever chose that target was told of it (tension.Refuse).
	// guardUnheard is guardSigmas of a string that was not heard since another was turned: what is believed of it
	// then is less sure than its σ. Tuned on a simulated floating bridge: with 2, one of 500 that was heard string by
	// string came to 67 cents, 1 above its limit.
	guardUnheard = 4
	// timidCents bounds a move while so little is known of the support that its weight might be wrong by a
	// factor of e^timidSD: any first move tells a great deal.
	timidCents = 15
	timidSD    = 1
	// tries is how often a string that missed its reading is turned again before the next one.
	tries = 3
)

// An Adviser leads through a pass: which string is next, and what it is to read now, so that what is turned
// later pulls it to its target.
type Adviser struct {
	*Learner
	rest  []bool // strings that are still to be turned, once
	tried []int
	reach float64 // cents off its target up to which a string can be heard; 0: it can always
	again int     // hearings in a row that left open whether a string is off
}

// Advice is what to do with one string.
type Advice struct {
	String   int
	NowCents float64 // to tune it to now, against its target
	Part     float64 // of the move that keeps all strings below their limits; 1: the whole of it
}

// NewAdviser begins a pass with what is believed now. Hear all strings first: a string that was not heard has
// a forecast that says nothing.
func NewAdviser(l *Learner) *Adviser {
	a := &Adviser{Learner: l}
	a.begin(nil)
	return a
}

// begin chooses the strings of a new pass: those named, and those that would not be in tune after it.
func (a *Adviser) begin(named []bool) {
	n := len(a.prior.Strings)
	a.tried = make([]int, n)
	a.rest = a.need(named)
}

// need returns the strings that have to be turned so that all are in tune afterwards.
func (a *Adviser) need(named []bool) []bool {
	rest := make([]bool, len(a.prior.Strings))
	copy(rest, named)
	now, later := plannedCents, plannedCents
	if a.strongestPull() < stiffPull {
		now, later = InTuneCents, laterCents
	}
	cents, _ := a.Cents()
	for i, c := range cents {
		rest[i] = rest[i] || math.Abs(c) > now
	}
	for grown := true; grown; {
		grown = false
		for i, c := range a.plan(rest).after {
			if !rest[i] && math.Abs(c) > later {
				rest[i], grown = true, true
			}
		}
	}
	return rest
}

// strongestPull is the most that one cent of a string costs another.
func (l *Learner) strongestPull() float64 {
	most := 0.0
	for _, row := range l.Loses() {
		for _, v := range row {
			most = max(most, math.Abs(v))
		}
	}
	return most
}

// A plan is the rest of a pass, with each remaining string turned once.
type plan struct {
	way   []float64 // of each peg, mm
	aim   []float64 // what a string is to read if it is the next
	part  []float64 // of its way that keeps every string below its limit
	after []float64 // cents of all strings after the pass
	now   []float64 // tensions, N
}

// plan solves A_RR·d_R = (T* − T)_R for the ways d of the pegs of the strings that are left.
func (a *Adviser) plan(rest []bool) plan {
	p, n := a.prior, len(a.prior.Strings)
	r := a.response()
	cents, sigma := a.Cents()
	pl := plan{way: make([]float64, n), aim: make([]float64, n), part: make([]float64, n), after: make([]float64, n), now: make([]float64, n)}
	for j := range n {
		pl.now[j] = p.Strings[j].TensionN * math.Exp(logPerCent*cents[j])
	}
	effect := func(j, i int) float64 { // of 1 mm at peg i on the tension that is heard of j
		if i == j {
			return r.a.At(i, i)
		}
		return r.a.At(j, i) * p.Strings[j].heard()
	}
	var left []int
	for i := range n {
		if rest[i] {
			left = append(left, i)
		}
	}
	if len(left) > 0 {
		m, missing, way := mat.NewDense(len(left), len(left), nil), mat.NewVecDense(len(left), nil), mat.NewVecDense(len(left), nil)
		for x, j := range left {
			missing.SetVec(x, p.Strings[j].TensionN-pl.now[j])
			for y, i := range left {
				m.Set(x, y, effect(j, i))
			}
		}
		// A badly conditioned matrix is what a soft bridge has; its answer is still the best there is.
		_ = way.SolveVec(m, missing)
		for x, i := range left {
			pl.way[i] = way.AtVec(x)
		}
	}
	sd := 0.0
	if len(p.modes) > 0 {
		sd = math.Sqrt(a.cov.At(0, 0))
	}
	lowest := 0.2 // part of its tension below which no string is asked to go
	for i := range n {
		part := 1.0
		for j := range n {
			step := effect(j, i) * pl.way[i]
			if step <= 1e-9 {
				continue
			}
			if i != j {
				step *= 1 + guardSigmas*sd
			}
			s := &p.Strings[j]
			top := s.TensionN * math.Exp(logPerCent*max(a.highest(j)-guardCents-a.guardSigmas(j)*sigma[j], InTuneCents))
			part = min(part, max(top-pl.now[j], 0)/step)
		}
		aim := func(part float64) float64 {
			t := max(pl.now[i]+r.a.At(i, i)*pl.way[i]*part, lowest*pl.now[i])
			return min(math.Log(t/p.Strings[i].TensionN)/logPerCent, max(a.highest(i)-guardCents, InTuneCents))
		}
		if a.reach > 0 && pl.way[i] < 0 {
			bottom := p.Strings[i].TensionN * math.Exp(logPerCent*(guardCents-a.reach))
			part = min(part, max(bottom-pl.now[i], r.a.At(i, i)*pl.way[i])/(r.a.At(i, i)*pl.way[i]))
			part = max(part, 0)
		}
		pl.part[i], pl.aim[i] = part, aim(part)
		if move := pl.aim[i] - cents[i]; sd > timidSD && math.Abs(move) > timidCents {
			pl.aim[i] = cents[i] + math.Copysign(timidCents, move)
			pl.part[i] *= timidCents / math.Abs(move)
		}
	}
	for j := range n {
		t := pl.now[j]
		for i := range n {
			t += effect(j, i) * pl.way[i]
		}
		pl.after[j] = math.Log(max(t, lowest*pl.now[j])/p.Strings[j].TensionN) / logPerCent
	}
	return pl
}

// guardSigmas is how many σ string j is kept below its limit.
func (a *Adviser) guardSigmas(j int) float64 {
	if a.stirred[j] {
		return guardUnheard
	}
	return guardSigmas
}

// highest is how many cents above its target string j may ever be.
func (a *Adviser) highest(j int) float64 {
	if a.reach > 0 {
		return min(a.prior.Strings[j].LimitCents, a.reach)
	}
	return a.prior.Strings[j].LimitCents
}

// Next returns what to do next; ok is false when the pass is over, and all strings are to be heard.
//
// The string whose peg does most work comes first, T·|d|: what a string gets wrong is what later ones move
// by what it feels of them, and an exchange of two neighbours in the order shows that this keeps the sum
// smallest. Strings that cannot be turned all the way without another being too tight wait.
func (a *Adviser) Next() (next Advice, ok bool) {
	pl := a.plan(a.rest)
	best := math.Inf(-1)
	for i, in := range a.rest {
		if !in {
			continue
		}
		key := pl.now[i] * math.Abs(pl.way[i])
		if pl.part[i] < 1 {
			key = pl.part[i] - 2 // behind all that fit
		}
		if key > best {
			best, ok = key, true
			next = Advice{String: i, NowCents: pl.aim[i], Part: pl.part[i]}
		}
	}
	return next, ok
}

// For returns the advice for a string that is turned next, whatever the order.
func (a *Adviser) For(i int) Advice {
	rest := slices.Clone(a.rest)
	rest[i] = true
	pl := a.plan(rest)
	return Advice{String: i, NowCents: pl.aim[i], Part: pl.part[i]}
}

// Done takes in that a string was turned as advised, and what was heard after it. It is asked for once more
// if it reads too far from what it was to read.
func (a *Adviser) Done(was Advice, to Reading, after ...Reading) error {
	if err := a.Turned(to, after...); err != nil {
		return err
	}
	a.moved(was.String, math.Abs(to.Cents-was.NowCents) > InTuneCents)
	return nil
}

// moved takes down that a string was turned, and whether it missed what it was to read. Strings that were turned
// before it are taken back into the pass where what was learned since says that they would not be in tune after
// it: in another pass all those that they pull on would have to be turned with them.
func (a *Adviser) moved(i int, missed bool) {
	a.tried[i]++
	a.rest[i] = missed && a.tried[i] < tries
	_, sigma := a.Cents()
	for grown := slices.Contains(a.rest, true); grown; {
		grown = false
		for j, c := range a.plan(a.rest).after {
			if !a.rest[j] && a.tried[j] > 0 && a.tried[j] < tries && math.Abs(c) > max(laterCents, againSigmas*sigma[j]) {
				a.rest[j], grown = true, true
			}
		}
	}
}

// hearings is how often all strings are heard at most before one that reads off, though it is believed not to be,
// is turned.
const hearings = 3

// Check takes in what all strings read after a pass, tells whether all are in tune, and otherwise begins
// another pass. A string that reads off by less than its readings scatter is heard again before it is turned: then
// Next has nothing to say, and all strings are to be checked once more.
func (a *Adviser) Check(readings []Reading) (inTune bool, err error) {
	if err := a.Heard(readings...); err != nil {
		return false, err
	}
	off := make([]bool, len(a.prior.Strings))
	for _, r := range readings {
		off[r.String] = math.Abs(r.Cents) > InTuneCents
	}
	if !slices.Contains(off, true) {
		return true, nil
	}
	a.again++
	if a.again < hearings {
		for i, c := range a.mean[a.prior.count():] {
			off[i] = off[i] && math.Abs(c) > InTuneCents
		}
	}
	if a.begin(off); slices.Contains(a.rest, true) {
		a.again = 0
	}
	return false, nil
}
