package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// refit fits the live note again, over the time since which the string has not been retuned.
func (t *Tracker) refit() {
	f := &t.note
	r := stringfit.Result{At: t.next, Partials: t.spare[:0]}
	t.attackWait = 0
	ok := t.fitLatest(&r)
	t.spare = r.Partials
	t.plan()
	disturbed := t.disturbed(&r)
	if disturbed && t.failed() > knockS && t.window() > t.shortest() {
		// What sounds over the note, or in its place, stays: only the latest instant tells.
		t.restartWindow(t.shortest())
		t.stage, t.nextFit = retuned, t.next
		return
	}
	if !ok || !accept.Accepts(&r) || disturbed && t.failed() < knockS {
		t.fitFailed()
		return
	}
	t.failing, t.stage = 0, t.stage.fitted()
	t.takeReading(r)
	if t.attack == 0 && t.age() > attackEndS && f.Fitted {
		t.attack = f.PitchBetween(float64(t.from), acquire.AttackS, attackEndS)
	}
	if math.Abs(stiffstring.Cents(f.Hz, f.Start.F1Hz)) > retuneCents {
		t.retune(f.Hz)
	} else if t.stage == settling && f.Bank.First >= t.past.Begin && f.MaxDetuning() > astrayTurn {
		at := f.Bank.First
		f.Retune(at)
		f.Push(t.past.From(at, t.next))
	}
}

// fitFailed waits for the next fit, or follows a pitch that moves too fast for one.
func (t *Tracker) fitFailed() {
	patience := int64(patienceS * t.fs)
	switch {
	case t.failing == 0:
		t.failing = t.next
	case t.next-t.failing >= patience && t.followVibrato():
		t.failing = t.next - patience // still not fitted, but not lost
	}
	t.nextFit = min(t.nextFit, t.next+int64(voiceS*t.fs))
}

// takeReading makes the result of a fit the reading of the note.
func (t *Tracker) takeReading(r stringfit.Result) {
	r.Decide(r.Variance.Plus(t.addedVariance()))
	if t.stage == settling && t.age() > fullS && t.fitted.SigmaCents() < r.SigmaCents && math.Abs(stiffstring.Cents(r.F1Hz, t.base.F1Hz)) < 2*r.SigmaCents {
		// Where it settles was better known with all partials.
		r.MoveTo(t.base.F1Hz)
		r.Decide(t.fitted)
	}
	t.base, t.parts, t.spare = r, r.Partials, t.parts
	t.fitted, t.fitWindow, t.residual = r.Variance, r.WindowS, r.Residual
}

// followVibrato moves the reading to the period of the latest instant, for a pitch that moves too fast to be fitted
// (vibrato), and reports whether there is one near the note.
func (t *Tracker) followVibrato() bool {
	p, ok := t.search.ClearPeriod(t.soundNow(), t.swungWindow())
	if !ok || math.Abs(stiffstring.Cents(p.Hz, t.base.F1Hz)) > swungCents {
		return false
	}
	t.base.MoveTo(p.Hz)
	t.base.Decide(stringfit.Variance{Vibrato: square(max(fastestHand, t.swing))})
	t.base.WindowS = t.swungWindow()
	t.ahead, t.retunedAt = 0, 0
	t.restartWindow(t.shortest())
	t.stage = vibrato
	if math.Abs(stiffstring.Cents(p.Hz, t.note.Start.F1Hz)) > swungCents {
		t.retune(p.Hz)
	}
	return true
}

// swungWindow returns the length (s) of the window in which the period of such a note is read.
func (t *Tracker) swungWindow() float64 { return max(swungS, swungPeriods/t.base.F1Hz) }

// Chosen, not tuned on a cell of the accuracy tables, for voices that swing by up to 60 cents seven times a second
// (vibrato_test.go).
const (
	patienceS    = 0.1   // s without a fit after which a note may be such a one
	swungS       = 0.025 // s in which the pitch of a voice is about one, or
	swungPeriods = 5     // if that is longer
	swungCents   = 120   // how far it may swing from one fit to the next
)

// astrayTurn is how far (rad in a sub-block) a partial of a young note may lie from where it is looked
// for until the bank is tuned anew: the first instants tell little of the stiffness.
const astrayTurn = 0.03

// runsS is the age (s) from which a note may be seen to run away from its glide: before, it is the glide.
const runsS = 0.2

// fullS is the age (s) up to which all partials of a note are followed: a glide shows best in the high ones.
const fullS = 0.41

// When the next fit is due. Chosen for speed, as far as the accuracy tables got no worse; eachFrame, early and briefly
// for the time of the first reading (docs/accuracy.md, target known).
const (
	growBy      = 0.4  // by how much of its length a window grows until the next fit
	steadyS     = 0.7  // s from fit to fit of a note that stands still
	retuningS   = 0.15 // s from fit to fit while the string is retuned
	retuneCents = 30   // how far the pitch may move from that which the bank is tuned to
	sameAge     = 1.03 // times its age up to which the next of fitAges is that of the last fit
	eachFrame   = 1.85 // periods of a note up to which it is fitted at every frame
	briefly     = 0.1  // growBy of a brief window that does not tell the pitch to
	brieflyTold = 1    // cent
	early       = 3.5  // periods up to which
	growEarly   = 0.2  // is growBy
)

// plan sets when the next fit is due: when the window has grown by so much that it says more.
func (t *Tracker) plan() {
	every := min(growBy*t.window(), steadyS)
	switch age := t.age(); {
	case t.stage == settling && age > fitAges[0]:
		for _, at := range fitAges {
			if at > sameAge*age {
				every = at - age
				break
			}
		}
	case t.retuning():
		every = retuningS
	}
	if t.attackWait > 0 {
		every = min(every, t.attackWait)
	}
	// In the first periods a little more of the note tells much more.
	switch periods := t.window() * t.base.F1Hz; {
	case periods < eachFrame:
		every = 0
	case t.note.Brief() && t.note.LawSigma() > brieflyTold:
		every = min(every, briefly*t.window())
	case periods < early:
		every = min(every, growEarly*t.window())
	}
	t.nextFit = t.next + int64(every*t.fs)
}

// fitAges are the ages of a plucked note (s) at which it is fitted: a glide shows best when the window
// has grown by half.
var fitAges = [...]float64{0.1, 0.16, 0.2475, 0.397, 0.6, 0.9, 1.3}

// window returns the length of the latest stretch that can be fitted as one, in seconds.
func (t *Tracker) window() float64 {
	w := float64(t.next-max(t.windowFrom, t.note.Bank.First)) / t.fs
	if t.stage == settling {
		return w
	}
	return max(t.shortest(), min(w, liveS))
}

// shortest returns the shortest window of a fit to a note that has sounded for a while, in seconds.
func (t *Tracker) shortest() float64 {
	const leastS, periods = 0.08, 5 // whichever is longer: in less a fit tells too little of one partial from the next
	return max(leastS, periods/t.base.F1Hz)
}

// fitLatest fits that stretch into r: while the string settles after a pluck, with a glide; later as
// long a stretch as its pitch stands still in.
func (t *Tracker) fitLatest(r *stringfit.Result) bool {
	if t.stage == settling && t.growing() {
		t.restartWindow(t.shortest())
	}
	if t.stage == settling && t.glideOver() {
		t.restartWindow(min(liveS, t.window()/2))
	}
	if t.stage == settling {
		if ok := t.fitGlide(r); t.stage == settling {
			return ok
		}
		r.Partials = r.Partials[:0]
	}
	return t.fitSteady(r)
}

// fitGlide fits all of a note that settles into r, with a glide, and reports whether that succeeds. If the pitch does
// something else than glide, it ends that stage of the note.
func (t *Tracker) fitGlide(r *stringfit.Result) (ok bool) {
	f := &t.note
	if t.age() > fullS {
		f.KeepPartials(livePartials)
	} else if t.age() > attackEndS {
		f.KeepPartials(f.HighestPartial() + 2)
	}
	before := t.attackBlocks
	ok = f.RefitFromLast(t.attackBlocks, f.Bank.N, stringfit.Settles, float64(t.from), r)
	if t.attackBlocks == 0 {
		t.attackBlocks, t.attackWait = t.attackNoise()
	}
	if t.attackBlocks != before {
		r.Partials = r.Partials[:0]
		ok = f.RefitFromLast(t.attackBlocks, f.Bank.N, stringfit.Settles, float64(t.from), r)
	}
	swung := ok && f.PlannedDepth() > furthestGlide
	if ok && !swung && t.age() > youngS && r.SNRdB < accept.TrustedSNR {
		var hz float64
		if hz, swung = t.vibratesNow(r); swung {
			t.base.MoveTo(hz)
		}
	}
	if swung {
		t.restartWindow(t.shortest())
		t.stage = retuned
		return ok
	}
	if !ok || !f.Fitted || t.age() < runsS {
		return ok
	}
	moves := f.RunBesideGlide()
	t.runCents = moves.Or(t.runCents)
	if moves.Sure { // retuning is no glide
		t.restartWindow(0.5 * t.window())
	}
	return ok
}

// fitSteady fits as long a stretch of the latest of a note into r as its pitch stands still in.
func (t *Tracker) fitSteady(r *stringfit.Result) bool {
	f := &t.note
	for {
		n := min(f.Bank.N, int(t.window()*t.fs/float64(t.m)))
		var ok bool
		if t.stage.moved() {
			// The last window held other pitches; what it taught of single partials does not hold.
			ok = f.Follow(f.Bank.N-n, f.Bank.N, t.startFromReading(), stringfit.Steady, 0, 1)
			f.Read(r)
		} else {
			ok = f.RefitFromLast(f.Bank.N-n, f.Bank.N, stringfit.Steady, 0, r)
		}
		steady := false
		if ok {
			moves := f.RunWithin()
			t.runCents = moves.Or(t.runCents)
			steady = !moves.Sure && r.SNRdB > accept.EvidentSNR
		}
		if steady || t.window() <= t.shortest() {
			return ok
		}
		t.restartWindow(t.window() / 2)
		t.stage = retuned
		r.Partials = r.Partials[:0]
	}
}

// vibratesNow reports whether the latest instant by itself is explained so much better than r explains all of
// the note, with a glide, and at so much another pitch, that this does something else; and returns that pitch.
func (t *Tracker) vibratesNow(r *stringfit.Result) (hz float64, yes bool) {
	if t.swing < leastSwing {
		return 0, false
	}
	window := min(t.shortest(), acquire.WindowS)
	p, ok := t.search.ClearPeriod(t.soundNow(), window)
	clearer := *r
	clearer.SNRdB += swungGain
	if !ok || !t.search.Explains(t.soundNow(), stringfit.Guess(p.Hz, acquire.GuessSigma), window, &clearer) || math.Abs(stiffstring.Cents(t.probe.Hz, r.F1Hz)) < swungOff {
		return 0, false
	}
	return t.probe.Hz, true
}

const (
	leastSwing = 1.5 // cents, of the phases
	swungGain  = 8.0 // dB
	swungOff   = 3.0 // cents
)

// furthestGlide is the depth (cents) from which a pitch that falls after an onset is none of a plucked string's.
const furthestGlide = 3 * stringfit.GlideSigma

// growing reports whether the note grows as no plucked string does.
func (t *Tracker) growing() bool {
	b := t.note.Bank
	from := t.attackBlocks
	half := (b.N - from) / 2
	if s := float64(2*half*t.m) / t.fs; s < swellS || s*t.base.F1Hz < swellPeriods {
		return false
	}
	return b.SumEnergy(from+half, from+2*half) > swellBy*b.SumEnergy(from, from+half)
}

const (
	swellS       = 0.03 // s in which a swell shows at least, and
	swellPeriods = 6
	swellBy      = 2.0 // energy of the later half over that of the earlier
)

// glideOver reports whether the glide after the pluck is over, as far as it matters to a window that
// begins now and reaches half as far back as the note is old.
func (t *Tracker) glideOver() bool {
	age := t.age()
	left := t.note.PlannedGlideAfter(age / 2)
	return age > glideS && (math.Abs(left) < glideDone || age > longestGlideS)
}

const (
	glideDone     = 0.02           // cents that are left of a glide when it is over
	longestGlideS = 2*glideS - 0.2 // s after which one is: so much the bank holds
)

// restartWindow says that the pitch has stood still, as far as is known, for the latest window seconds only.
func (t *Tracker) restartWindow(window float64) {
	if t.stage == settling {
		t.stage = steady
	}
	t.note.KeepPartials(livePartials)
	t.windowFrom = t.next - int64(window*t.fs)
}

// startFromReading returns what is known of the note when its pitch has been moved: where the phases have followed
// it to, and the stiffness of the string.
func (t *Tracker) startFromReading() stringfit.Start {
	return t.startNear(t.base.F1Hz, min(movedMost, movedLeast+2*t.base.SigmaCents))
}

// How well (cents) the phases tell where a pitch has been moved to, beside two standard errors of the reading.
const (
	movedLeast = 1.0
	movedMost  = 8.0
)

// startNear returns what is known of the note where its pitch is f1 (Hz) to sigmaCents: the stiffness of the string
// holds, as the last good fit taught it.
func (t *Tracker) startNear(f1, sigmaCents float64) stringfit.Start {
	return stringfit.Start{
		F1Hz: f1, SigmaCents: sigmaCents, B: t.base.B,
		SigmaB: max(leastSigmaB, 2*t.base.BSigma), Prior: t.note.Start.Prior, Top: fitTop,
	}
}

const (
	leastSigmaB = 1e-6 // of a B that was fitted: no string keeps to its own so closely
	fitTop      = 3    // highest partial that a first fit must hold: the second and third tell B
)

// disturbed reports whether something else sounded over the note in the window of r: a click, a
// knock. For knockS the last reading holds.
func (t *Tracker) disturbed(r *stringfit.Result) bool {
	return r.SNRdB < min(t.base.Clearness(len(t.note.Bank.Omega)), clearest)-disturbedBy
}

// Chosen, not tuned on a cell of the accuracy tables.
const (
	knockS      = 0.15 // s
	clearest    = 30.0 // dB over the rest that a note counts as having at most: real strings leave so much unexplained
	disturbedBy = 15.0 // dB less of it where something else sounds
)

// failed returns for how long (s) no fit has succeeded.
func (t *Tracker) failed() float64 {
	if t.failing == 0 {
		return 0
	}
	return float64(t.next-t.failing) / t.fs
}

// addedVariance returns the standard uncertainty (cents) that the movement of a live note adds: what a
// window of a running pitch says of the pitch now, or, under a glide, what its simple law (one
// exponential, to first order) may miss of it. It is small beside what retuning does, and
// keeps a long window from claiming more than a real string holds.
func (t *Tracker) addedVariance() stringfit.Variance {
	const (
		rare       = 0.003 // cents; a string of which this much is known for a second is a rare one
		leastAhead = 0.1   // cents that the phases run ahead from which they say more than noise
		ofGlide    = 0.01  // of a glide that its law may miss
		ofTheRun   = 0.25  // of the run from the middle of the window to its ends that the middle may miss
		ofAhead    = 0.5   // of what the phases run ahead
	)
	v := stringfit.Variance{Unmodelled: square(rare)}
	if ahead := math.Abs(t.ahead); t.stage != settling && ahead > leastAhead {
		v = stringfit.Variance{Movement: square(ofAhead * ahead)}
	}
	if t.stage != settling && t.window() < swingS {
		v.Vibrato = square(t.swing)
	}
	if left, glides := t.note.GlideAtStart(); glides {
		v.Glide = square(ofGlide * left)
	}
	v.Movement += square(ofTheRun * t.runCents)
	return v
}

func square(x float64) float64 { return x * x }

// attackNoise returns how many sub-blocks at the beginning of a young note hold much that the model does not, which
// fits leave out, and the time (s) until enough is left without them, before which they do not.
func (t *Tracker) attackNoise() (skip int, wait float64) {
	const youngest = 0.3 // s of age up to which an attack may disturb
	if t.age() > youngest || !t.note.NoisyStart(burstS) {
		return 0, 0
	}
	skip = int(math.Ceil(burstS * t.fs / float64(t.m)))
	left := float64((t.note.Bank.N-skip)*t.m) / t.fs
	if wait = acquire.ShortestPeriods/t.base.F1Hz - left; wait > 0 {
		return 0, wait
	}
	return skip, 0
}

// burstS is how long the noise of an attack lasts, in seconds.
const burstS = 0.01

// measureAttack reads the pitch of the first part of the note.
func (t *Tracker) measureAttack() {
	f := &t.note
	begin := t.from + int64(acquire.AttackS*t.fs)
	if f.Bank.First > begin+int64(t.m) {
		return // it was not recorded
	}
	from := max(0, int(begin-f.Bank.First)/t.m)
	to := min(f.Bank.N, from+int((attackEndS-acquire.AttackS)*t.fs/float64(t.m)))
	if to-from >= leastFitBlocks && f.FitGrowing(from, to, f.Start, stringfit.Steady, 0) {
		t.attack = f.Hz
	}
}

// retunedSigma is how well (cents) the phases, a period or a fit tell a pitch that has moved away.
const retunedSigma = 3.0

// retune demodulates the latest stretch of the note at the partials of a pitch that has moved away.
func (t *Tracker) retune(f1 float64) {
	f := &t.note
	latest := t.next - int64(2*t.window()*t.fs)
	start := t.search.Aligned(t.next, max(latest, f.Bank.First, t.past.Begin))
	all := t.past.From(start, t.next)
	k := t.startNear(f1, retunedSigma)
	if !f.Load(all, start, k) {
		f.Tune(k.F1Hz, k.B, start)
		f.Push(all)
		f.Start = k
	}
	f.Start.F1Hz = f1
	t.attackBlocks = 0
}
