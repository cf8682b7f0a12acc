package pitch

import (
	"math"
	"math/cmplx"
	"slices"
)

// track keeps the reading of the sounding note up to date and sees its end.
func (t *Tracker) track(power float64) {
	if power < 2*t.levels.floor || power < 1e-5*t.peak && power < 100*t.levels.floor {
		t.end(t.next)
		return
	}
	if !t.checked && t.next >= t.nextTry && t.age() > attackS+acquireS {
		t.nextTry = t.next + int64(acquireS*t.fs)
		t.checked = t.base.SNRdB > trustedSNR || t.age() > 0.7
		// A note taken an octave high leaves every other partial unexplained.
		if t.base.SNRdB < explainedSNR && t.recheck() {
			return
		}
	}
	if !t.cfg.Live {
		return
	}
	if t.next >= t.nextFit {
		t.refit()
	}
	if float64(t.next-t.goodAt)/t.fs > lostS {
		t.end(t.next)
	}
}

// explainedSNR is how far (dB) what a fit explains must stand above the rest for another octave to
// be out of the question.
const explainedSNR = 20

// end finishes the note and waits for the next sound.
func (t *Tracker) end(at int64) {
	t.finish(at)
	t.state = waiting
	t.levels.loudS = 0
}

// recheck looks at the octave again with the longest window. If a better pitch is found, tracking
// begins afresh with it, under the same onset.
func (t *Tracker) recheck() bool {
	var k known
	p, ok := t.period(acquireS)
	if ok && math.Abs(cents(p.hz, t.base.F1Hz)) > guessLimit {
		k = first(p.hz, guessSigma)
	} else if ok = t.base.SNRdB < trustedSNR; ok {
		k, ok = t.climb(t.base.F1Hz, acquireS)
	}
	if !ok || !t.explains(k, acquireS, &t.base) {
		return false
	}
	r := Reading{At: t.next, Partials: t.parts[:0]}
	if !t.lockNear(k, acquireS, &r) {
		return false
	}
	t.parts = r.Partials
	t.base, t.goodAt, t.span = r, t.next, 0
	return true
}

// refit fits the live note again and plans the next fit: often at first, when each adds much, and
// while the pitch is being moved.
func (t *Tracker) refit() {
	age := t.age()
	f := &t.note
	perS := t.fs / float64(t.m)
	r := Reading{At: t.next, Partials: t.spare[:0]}
	var ok bool
	t.ahead = t.lately()
	turned := t.turned()
	if turned {
		t.span = t.shortest()
	}
	if age < glideS && t.plucked && t.span == 0 {
		ok = f.again(0, f.bank.n, settles, float64(t.from), &r)
		// A hand on the peg is no glide.
		if ok && f.fitted && age > 0.2 && t.moving(f.shift) {
			r.Partials = r.Partials[:0]
			ok = t.slide(perS, turned, &r)
		}
	} else {
		ok = t.slide(perS, turned, &r)
	}
	every := math.Max(0.01, math.Min(0.2, 0.2*age))
	if t.span > 0 { // as fast as an eye follows a hand
		every = math.Max(0.045, math.Min(0.25, 0.25*t.span))
	}
	t.nextFit = t.next + int64(every*t.fs)
	t.spare = r.Partials
	if !ok || !f.evident(&r) || t.disturbed(&r) {
		return
	}
	t.goodAt = t.next
	r.SigmaCents = math.Hypot(r.SigmaCents, t.unmodelled())
	t.base = r
	t.base.AttackF1Hz = t.attack
	t.parts, t.spare = r.Partials, t.parts
	if t.attack == 0 && age > attackEndS {
		t.measureAttack()
	}
	if math.Abs(cents(f.hz, f.start.f1)) > 30 {
		t.retune(f.hz)
	}
}

// disturbed reports whether something else sounded over the note in the window of r: a click, a
// knock. For a moment the last reading holds.
func (t *Tracker) disturbed(r *Reading) bool {
	const knock = 0.15 // s
	return r.SNRdB < t.base.SNRdB-15 && float64(t.next-t.goodAt)/t.fs < knock
}

// unmodelled returns the standard uncertainty (cents) that the movement of a live note adds: what a
// window of a running pitch says of the pitch now, or, under a glide, what its simple law (one
// exponential, to first order) may miss of it. It is small beside what a hand on the peg does, and
// keeps a long window from claiming more than a real string holds.
func (t *Tracker) unmodelled() float64 {
	f := &t.note
	floor := 0.003 // cents; a string of which this much is known for a second is a rare one
	if lag := math.Abs(t.ahead); t.span > 0 && lag > 0.1 {
		floor = lag / 2
	}
	if f.warp.depth != 0 {
		left := f.warp.rate(f.series.middle()-f.series.half*f.fs, f.fs) * centsPerNeper
		return math.Hypot(floor, math.Hypot(0.01*left, t.run/4))
	}
	return math.Hypot(floor, t.run/4)
}

// slide fits the latest stretch of a long note: as long as liveS while the pitch stands still,
// short while someone turns the peg.
func (t *Tracker) slide(perS float64, turned bool, r *Reading) bool {
	f := &t.note
	if t.span == 0 {
		t.span = math.Min(0.5*liveS, float64(f.bank.n)/perS)
	}
	for {
		n := min(f.bank.n, int(t.span*perS))
		var ok bool
		if turned {
			// The last window held other pitches; what it taught of single partials does not hold.
			ok = f.follow(f.bank.n-n, f.bank.n, t.anew(), still, 0, 1)
			f.read(r)
		} else {
			ok = f.again(f.bank.n-n, f.bank.n, still, 0, r)
		}
		if ok && !t.moving(f.total) && r.SNRdB > evidentSNR {
			t.span = math.Min(liveS, t.span*1.25)
			return true
		}
		if t.span <= t.shortest() {
			return ok
		}
		t.span = math.Max(t.shortest(), t.span/2)
		r.Partials = r.Partials[:0]
		turned = true
	}
}

// anew returns what is known of the note when its pitch is being moved: about where it was, and
// the stiffness of the string.
func (t *Tracker) anew() known {
	return known{
		f1: t.base.F1Hz, sigmaCents: 8, b: t.base.B,
		sigmaB: math.Max(1e-6, 2*t.base.BSigma), prior: t.note.start.prior, top: 3,
	}
}

// shortest returns the shortest window of a live fit, in seconds.
func (t *Tracker) shortest() float64 { return math.Max(0.08, 5/t.base.F1Hz) }

// turnedCents is how far the latest tenth of a second must lie from the reading for someone to be
// turning the peg.
const turnedCents = 0.35

// turned reports whether someone turns the peg. Just after a pluck the pitch falls, and the reading
// is still learning where to, without that.
func (t *Tracker) turned() bool {
	limit := turnedCents
	if t.span == 0 {
		limit += glideSigma*math.Exp(-t.age()/0.15) + 2*t.base.SigmaCents
	}
	return math.Abs(t.ahead) > limit
}

// lately returns how far (cents, positive is sharp) the pitch of the latest tenth of a second lies
// from the last reading: by how much the phases of the lowest partials have run ahead between two
// short looks. It costs next to nothing, and sees a turned peg long before a long window does.
func (t *Tracker) lately() float64 {
	f := &t.note
	n := t.lookLength()
	apart := max(n, int(0.05*t.fs/float64(t.m)))
	if f.bank.n < n+apart {
		return 0
	}
	var off [4]float64
	seen := 0
	loudest := math.Inf(-1)
	for i := range t.base.Partials {
		p := &t.base.Partials[i]
		if p.N > len(off) || p.N > len(f.bank.omega) {
			break
		}
		if p.LevelDB < loudest-20 {
			continue
		}
		loudest = math.Max(loudest, p.LevelDB)
		early := f.bank.glance(p.N-1, p.Hz, f.bank.n-n-apart, n, t.fs)
		late := f.bank.glance(p.N-1, p.Hz, f.bank.n-n, n, t.fs)
		between := float64(apart*t.m) / t.fs
		turns := (cmplx.Phase(late)-cmplx.Phase(early))/(2*math.Pi) - p.Hz*between
		off[seen] = math.Remainder(turns, 1) / (p.Hz * between) * centsPerNeper
		seen++
	}
	if seen == 0 {
		return 0
	}
	slices.Sort(off[:seen])
	glide := 0.0
	if t.span == 0 { // a fit that looks for a glide gives the pitch without it
		glide = f.planned.rate(float64(t.next), t.fs) * centsPerNeper
	}
	return (off[(seen-1)/2]+off[seen/2])/2 - glide
}

// lookLength returns the sub-blocks of a short look at partials: 25 ms, four periods at least.
func (t *Tracker) lookLength() int {
	return int(math.Max(0.025, 4/t.base.F1Hz) * t.fs / float64(t.m))
}

// moving reports whether the pitch runs away within the window of the last fit, in the given track
// of its time, by more than a third of a cent from its mean, beyond doubt.
func (t *Tracker) moving(track []float64) bool {
	f := &t.note
	if !f.fitted {
		return true
	}
	s := &f.series
	for i, u := range s.t {
		f.curve[0][i] = u * u
	}
	l, ok := fitLine(s.t, track, f.weight, [][]float64{f.curve[0]}, []float64{0})
	if !ok || l.used < 8 {
		return true
	}
	scale := math.Max(1, l.chi2/float64(l.used-3))
	run := 2 * math.Abs(l.extra[0]) * s.half * centsPerNeper // cents at the ends
	t.run = run
	return run > 0.6 && l.extra[0]*l.extra[0] > 9*scale*l.extraVar[0]
}

// measureAttack reads the pitch of the first part of the note.
func (t *Tracker) measureAttack() {
	f := &t.note
	first := f.bank.first
	if first > t.body()+int64(t.m) {
		return // it was not recorded
	}
	n := min(f.bank.n, int((attackEndS-attackS)*t.fs/float64(t.m)))
	if n >= 6 && f.lengthen(0, n, f.start, still, 0) {
		t.attack = f.hz
	}
}

// retune demodulates the latest stretch of the note at the partials of a pitch that has moved away.
func (t *Tracker) retune(f1 float64) {
	f := &t.note
	latest := t.next - int64(2*math.Max(t.span, t.shortest())*t.fs)
	start := t.aligned(max(latest, f.bank.first, t.past.begin))
	all := t.past.from(start, t.next)
	k := known{f1: f1, sigmaCents: 3, b: f.joint.b, sigmaB: f.joint.sigmaB, prior: f.start.prior, top: 3}
	if !f.load(all, start, k) {
		f.tune(k.f1, k.b, start)
		f.pushAll(all)
		f.start = k
	}
	f.start.f1 = f1
	t.span = math.Min(t.span, float64(len(all))/t.fs)
}

// report gives the reading of this hop.
func (t *Tracker) report(power float64, emit func(*Reading)) {
	r := &t.out
	parts := r.Partials[:0]
	switch t.state {
	case waiting:
		*r = Reading{}
	case acquiring:
		*r = Reading{State: Unsure, Onset: t.from}
	case tracking:
		*r = t.base
		r.State, r.Onset = Sounding, t.from
		r.NewOnset, t.fresh = t.fresh, false
		parts = append(parts, t.base.Partials...)
		t.phases(parts)
	}
	r.Partials = parts
	r.At = t.next
	r.LevelDB = 10 * math.Log10(math.Max(power, 1e-15))
	r.AfterGap, t.gap = t.gap, false
	emit(r)
}

// highestBand is the highest partial whose phase is measured afresh in every hop.
const highestBand = 8

// phases sets the phases of parts at the newest sample: those of the lower partials from a short
// look at the latest sub-blocks, Hann-weighted, the others from the last fit.
func (t *Tracker) phases(parts []Partial) {
	f := &t.note
	n := min(f.bank.n, t.lookLength())
	ago := float64(t.next-t.base.At) / t.fs
	for i := range parts {
		p := &parts[i]
		if p.N <= highestBand && p.N <= len(f.bank.omega) && n >= 4 {
			f.bank.look(p, n, t.next, t.fs)
			continue
		}
		turns := p.PhaseTurns + math.Mod(p.Hz*ago, 1)
		p.PhaseTurns = turns - math.Floor(turns)
	}
}

// look sets phase and level of partial p from the last n sub-blocks, carried on to sample at by
// its frequency.
func (b *bank) look(p *Partial, n int, at int64, fs float64) {
	from := b.n - n
	sum := b.glance(p.N-1, p.Hz, from, n, fs)
	if sum == 0 {
		return
	}
	p.LevelDB = 20 * math.Log10(2*cmplx.Abs(sum))
	mid := float64(b.first) + (float64(from)+float64(n)/2)*float64(b.m) - 0.5
	turns := cmplx.Phase(sum)/(2*math.Pi) + math.Mod(p.Hz*(float64(at)-mid)/fs, 1)
	p.PhaseTurns = turns - math.Floor(turns)
}

// glance returns half the complex amplitude, at the middle of n sub-blocks from from, of what sounds
// at hz in row: their Hann-weighted mean, each turned to the middle.
func (b *bank) glance(row int, hz float64, from, n int, fs float64) complex128 {
	step := 2 * math.Pi * hz / fs * float64(b.m) // rad a sub-block
	back := cmplx.Rect(1, -step)
	turn := cmplx.Rect(1, step*float64(n-1)/2)
	bell := cmplx.Rect(1, 2*math.Pi/float64(n))
	arc := cmplx.Rect(1, math.Pi/float64(n))
	var sum complex128
	var weight float64
	for i := range n {
		h := 1 - real(arc)
		sum += b.row(row, from+i) * turn * complex(h, 0)
		weight += h
		turn *= back
		arc *= bell
	}
	// A sub-block answers to a partial beside its own frequency with a little less.
	gain := weight * float64(b.m)
	if d := step/2 - b.omega[row]*float64(b.m)/2; math.Abs(d) > 1e-9 && math.Abs(d) < 2 {
		gain *= math.Sin(d) / d
	}
	return sum / complex(gain, 0)
}

// finish reports the note that sounds, if one does, as ended at sample at.
func (t *Tracker) finish(at int64) {
	if t.state != tracking || t.cfg.OnNote == nil {
		return
	}
	f := &t.note
	if float64(at-t.from)/t.fs < shortestS {
		return
	}
	perS := t.fs / float64(t.m)
	from, to := 0, f.bank.n
	to = min(to, int(float64(at-f.bank.first)/float64(t.m)))
	move := settles
	if w := t.cfg.Window; w[1] > 0 {
		begin := float64(f.bank.first-t.from) / t.fs
		from = max(0, int((w[0]-begin)*perS))
		to = min(to, int((w[1]-begin)*perS))
		move = drifts
	} else if !t.plucked {
		move = drifts
	} else {
		// Where the note is long enough, what is left of the attack and most of the glide is let go by.
		from = min(to/4, int((settleS-attackS)*perS))
	}
	if to-from < 6 || float64(to-from)/perS < 2.5/t.base.F1Hz {
		return
	}
	n := Note{Start: t.from, End: at}
	n.Reading = Reading{At: at, State: Sounding, Onset: t.from, Partials: t.spare[:0]}
	ok := f.whole(from, to, move, float64(t.from), &n.Reading)
	t.spare = n.Partials
	if ok = ok && f.evident(&n.Reading); !ok && t.cfg.Live {
		// The end of a long note may be too faint; what was last read of it holds.
		parts := append(n.Partials[:0], t.base.Partials...)
		n.Reading = t.base
		n.Reading.At, n.Reading.Onset, n.Reading.State, n.Reading.Partials = at, t.from, Sounding, parts
	} else if !ok {
		return
	}
	n.LevelDB = 10 * math.Log10(math.Max(t.peak, 1e-15))
	if !t.cfg.Live {
		t.measureAttack()
	}
	n.AttackF1Hz = t.attack
	t.cfg.OnNote(&n)
}
