package pitch

import (
	"fmt"
	"math"
	"slices"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A Config says what a Tracker is to do.
type Config struct {
	SampleRate   float64 // Hz, 8000 to 192000
	MinHz, MaxHz float64 // range of fundamentals; 0: 25 and 5000

	// Live asks for readings while a note sounds. Without it only whole notes are reported,
	// which takes much less work.
	Live bool

	// Window is the span, in seconds after each onset, over which a Note gives the pitch, at its
	// middle. Zero asks for the pitch of the whole note, settled after the glide of the onset.
	Window [2]float64

	// OnNote, if set, is called with every note that has ended. The note is valid only during
	// the call.
	OnNote func(*Note)
}

// Spans of a note, in seconds after its onset.
const (
	historyS    = 0.8  // of the samples that is kept
	attackS     = 0.02 // the attack itself, which is not measured
	attackEndS  = 0.15 // what AttackF1Hz covers, from attackS
	settleS     = 0.25 // from where a settled pitch is read, if the note is long enough
	noteS       = 2.2  // of a note that a settled pitch is taken from
	maxWindowS  = 60.0 // furthest end of a Config.Window
	youngS      = 0.1  // of a live note in which there are four readings a hop
	liveS       = 1.5  // longest span of a live reading
	glideS      = 1.5  // of a live note in which a glide is looked for
	shortestS   = 0.05 // a sound that ends sooner is a click
	acquireS    = 0.17 // longest window of an acquisition
	lostS       = 0.25 // without an acceptable fit after which a note has ended
	backgroundS = 0.6  // of sound without pitch after which it is background
)

// How many partials are followed while a note sounds. What the model lacks, it takes for noise: that
// matters while the window is short and a glide is to be told from a steady pitch.
const (
	youngPartials = 24 // as long as the string settles
	livePartials  = 12 // later
)

// A Tracker follows one voice through a stream of samples: it finds the onset of each note,
// acquires its pitch and tracks its partials until it ends.
//
// A Tracker serves one goroutine.
type Tracker struct {
	cfg    Config
	fs     float64
	m      int // samples in a sub-block
	frame  int // samples in a frame of levels: 4 sub-blocks
	levels *levels
	past   *history
	expect []float64 // [Hz] pitches to try first
	lowest float64   // [Hz] below which none is looked for

	next     int64 // index of the next sample to be analysed
	frames   int   // frames since the last hop
	sumPower float64
	gap      bool // samples were lost; the next reading says so

	yin          yin
	ladder       ladder
	note         stringfit.Fitter // the note that sounds, its whole bank
	probe        stringfit.Fitter // acquisitions
	echo         echo             // what rings on of earlier notes
	tailHann     []float64        // weights of a look at the end of a note
	state        phase
	from         int64 // index at which the present sound began
	plucked      bool  // it began with an onset
	doubted      bool  // so soon after listening began that it may have been there before
	earlier      int64 // index of an onset just before, which may be the true one; 0: none
	tries        int   // acquisitions made of it
	nextTry      int64 // index at which the next is due
	nextExpected int64 // index before which the expected pitches are not tried again
	slid         bool  // the last fit of an acquisition has told what the pitch settles to
	parts        []stringfit.Partial
	ring         ring // a sound in which no pitch was found
	spare        []stringfit.Partial
	out          Reading

	followed
	peak  float64 // loudest hop of this note
	power float64 // mean square of the newest hop
}

// followed is all that is known of the note that sounds, beside its bank: another for each note.
type followed struct {
	base      stringfit.Result   // of the last fit, moved along with the peg
	fitted    stringfit.Variance // what the last fit said of its pitch
	fitWindow float64            // [s] length of its window
	attack    float64            // [Hz] pitch of the first part of the note; 0: not known
	fresh     bool               // no reading of this note has been given yet
	checked   bool               // the octave has been checked with a long window
	nextFit   int64
	failing   int64   // index of the first fit that failed since the last good one; 0: none did
	rest      float64 // mean square of what the last look at the note did not explain
	loudAt    int64   // index at which it last stood above the background
	begunSNR  float64 // [dB] of the first reading of the note
	nextCheck int64   // index before which the note is not asked again whether it is still heard

	settling  bool    // the note was plucked not long ago: its pitch may glide
	skip      int     // sub-blocks at the beginning of the bank that hold the noise of the attack
	lacks     float64 // [s] until enough of the note will be left without that noise; 0: it does not disturb
	since     int64   // index since which no hand has moved the pitch
	fastAt    int64   // index at which it last moved faster than a hand moves it; 0: never
	handledAt int64   // index at which a hand was last seen to move it; 0: never
	moved     bool    // the pitch has been moved since the last fit
	looks     watch   // what the phases have shown
	swung     float64 // [cents] root mean square by which the pitch has swung lately, as the phases show
	run       float64 // [cents] that the pitch ran from the middle to the ends of the last window
	ahead     float64 // [cents] of the latest tenth of a second against the last reading
}

// A phase is where a Tracker is with the present sound.
type phase int

const (
	waiting   phase = iota // nothing sounds
	acquiring              // something sounds, its pitch is sought
	ringing                // something rings that has no pitch
	tracking               // a note sounds
)

// NewTracker returns a tracker, or an error that names the setting out of range.
func NewTracker(cfg Config) (*Tracker, error) {
	if err := checkSampleRate(cfg.SampleRate); err != nil {
		return nil, err
	}
	if cfg.MinHz == 0 {
		cfg.MinHz = 25
	}
	if cfg.MaxHz == 0 {
		cfg.MaxHz = min(5000, 0.4*cfg.SampleRate)
	}
	if !(cfg.MinHz >= 15 && cfg.MaxHz <= 0.45*cfg.SampleRate && cfg.MinHz*1.5 < cfg.MaxHz) {
		return nil, fmt.Errorf("pitch: range of %g to %g Hz: want 15 Hz or more, less than 0.45 of the sample rate, and over half an octave", cfg.MinHz, cfg.MaxHz)
	}
	if w := cfg.Window; w != [2]float64{} && !(w[0] >= 0 && w[1] > w[0] && w[1] <= maxWindowS) {
		return nil, fmt.Errorf("pitch: window of %g to %g s after the onset: want 0 <= start < end <= %g", w[0], w[1], maxWindowS)
	}
	if cfg.Live && cfg.Window[1] > 0 {
		return nil, fmt.Errorf("pitch: a window of %g to %g s after the onset is for whole notes, not for live readings", cfg.Window[0], cfg.Window[1])
	}
	t := &Tracker{cfg: cfg, fs: cfg.SampleRate, m: stringfit.SubBlock(cfg.SampleRate), lowest: cfg.MinHz}
	t.frame = 4 * t.m
	t.levels = newLevels(t.fs, t.frame)
	t.past = newHistory(int(historyS*t.fs) + t.frame)
	t.note.SampleRate, t.probe.SampleRate = t.fs, t.fs
	t.note.Accept, t.probe.Accept = accept.Accepts, accept.Accepts
	if cfg.Live {
		t.note.Partials, t.note.Live = youngPartials, true
	}
	t.note.Reserve(t.m, int(t.bankS()*t.fs))
	t.probe.Reserve(t.m, int(max(acquireS, max(checkS, echoFitS))*t.fs)+t.m)
	return t, nil
}

// bankS returns how much of a note is kept, in seconds.
func (t *Tracker) bankS() float64 {
	switch {
	case t.cfg.Window[1] > 0:
		return t.cfg.Window[1] + 0.1
	case t.cfg.Live:
		return max(noteS, 2*liveS)
	}
	return noteS
}

// Expect narrows the search. Pitches below lowest (Hz) are not looked for; 0 leaves that to
// Config.MinHz. hz are pitches that are likely to sound, such as that of the one string being
// tuned: they are tried first, and found within two or three periods; others are found as ever.
func (t *Tracker) Expect(lowest float64, hz []float64) {
	t.lowest = max(t.cfg.MinHz, min(lowest, t.cfg.MaxHz/2))
	t.expect = append(t.expect[:0], hz...)
}

// Push takes the next samples, the first of which has index start, and calls emit, if it is not
// nil, with a reading for every hop of about 10.7 ms that they complete, and in the first moments after a pluck
// for quarters of one: all in the first tenth of a second, then those at which there is something new. If start
// is not where the last call ended, samples were lost: a sounding note ends there and the first reading after has
// AfterGap. The reading is valid only during the call.
func (t *Tracker) Push(samples []float64, start int64, emit func(*Reading)) {
	if start != t.past.end() {
		if t.past.end() > 0 || start > 0 {
			t.Flush()
			t.gap = t.past.end() > 0
		}
		t.past.restart(start)
		t.echo.forget()
		t.next = start
		t.levels.restart()
	}
	for len(samples) > 0 {
		n := min(len(samples), t.frame)
		t.past.add(samples[:n])
		t.echo.takeOut(t.past.from(t.past.end()-int64(n), t.past.end()), t.fs)
		samples = samples[n:]
		for t.next+int64(t.frame) <= t.past.end() {
			t.advance(emit)
		}
	}
}

// Flush ends a note that still sounds, at the end of the input.
func (t *Tracker) Flush() {
	t.finish(t.next)
	t.state = waiting
}

// advance analyses one frame.
func (t *Tracker) advance(emit func(*Reading)) {
	x := t.past.from(t.next, t.next+int64(t.frame))
	onset := t.levels.add(x, t.state == waiting)
	t.next += int64(t.frame)
	t.sumPower += t.levels.power
	t.frames++
	switch {
	case onset:
		t.begin(t.next-int64(t.frame), true)
	case t.state == waiting && t.levels.loudS > 0.04:
		t.begin(t.next-int64(t.levels.loudS*t.fs), false)
	}
	if t.state == tracking {
		if t.cfg.Live && t.note.Bank.Left() < t.frame/t.m {
			t.note.Bank.Drop(t.note.Bank.N / 2) // before the frame, of which none may be lost
		}
		t.note.Push(x)
	}
	if t.frames == 4 || t.state != waiting && t.young() || t.due() {
		t.hop(emit)
	}
	if t.frames == 4 {
		t.frames, t.sumPower = 0, 0
	}
}

// young reports whether the present sound is so new that a live reading is due every frame, not only
// every hop: each adds much.
func (t *Tracker) young() bool { return t.cfg.Live && t.plucked && t.age() < youngS }

// due reports whether a fit to a note that settles is due: while the pitch glides, each frame more of it tells
// much, so it does not wait for the hop.
func (t *Tracker) due() bool {
	return t.cfg.Live && t.state == tracking && t.settling && t.next >= t.nextFit
}

// begin starts on a new sound.
func (t *Tracker) begin(at int64, plucked bool) {
	t.finish(at)
	switch {
	case !plucked:
		t.echo.renew()
	case t.state == tracking:
		t.echo.renew()
		t.foretell(at)
	}
	t.earlier = 0
	if plucked && t.plucked && t.state == acquiring && float64(at-t.from) < edgeMemoryS*t.fs {
		t.earlier = t.from
	}
	t.state, t.from, t.plucked = acquiring, at, plucked
	t.doubted = !t.levels.accustomed()
	t.tries, t.nextTry, t.nextExpected = 0, 0, 0
	t.ring.begin()
	t.peak = 0
}

// body returns the index from which the present sound is measured.
func (t *Tracker) body() int64 {
	if t.plucked {
		return t.from + int64(attackS*t.fs)
	}
	return t.from
}

// age returns the time since the present sound began, in seconds.
func (t *Tracker) age() float64 { return float64(t.next-t.from) / t.fs }

// hop does the work that is due at the end of a hop, or of a frame of a young note, and gives a
// reading.
func (t *Tracker) hop(emit func(*Reading)) {
	power := t.sumPower / float64(t.frames)
	if t.frames == 4 {
		t.power += 0.15 * (power - t.power) // over the swings of a low note within its period
	}
	if t.state != waiting {
		t.peak = max(t.peak, t.power)
	}
	if t.state != waiting {
		t.ask()
	}
	switch t.state {
	case acquiring:
		t.acquire()
	case ringing:
		t.followRing()
	case tracking:
		t.track(power)
	}
	if emit == nil || !t.cfg.Live {
		return
	}
	t.report(power, emit)
}

// acquire looks for the pitch of the present sound, with a window that grows from try to try.
func (t *Tracker) acquire() {
	if !t.levels.loud() {
		t.state = waiting
		return
	}
	window := float64(t.next-t.body()) / t.fs
	if t.echo.pending || t.young() && t.lockExpected(window) || t.next < t.nextTry || window < 0.012 {
		return
	}
	t.tries++
	t.nextTry = t.next + int64(max(0.012, min(0.6*window, 0.085))*t.fs)
	if t.lock(min(window, acquireS)) {
		return
	}
	if window >= 0.9*acquireS {
		t.lookAtPeaks(ringShare, ringPeaks)
	}
	if t.age() > backgroundS && t.tries > 4 {
		if t.fades() {
			t.state = ringing
		} else {
			t.background()
		}
	}
}

// lock tries to find a pitch in the latest window seconds and to begin tracking.
func (t *Tracker) lock(window float64) bool {
	if !t.young() && t.lockExpected(window) {
		return true
	}
	r := stringfit.Result{At: t.next, SNRdB: math.Inf(-1), Partials: t.parts[:0]}
	if !t.lockPeriod(window, &r) || t.partOfRing(&r, window) {
		if r.Partials = r.Partials[:0]; !t.lockStiff(window, &r) || t.partOfRing(&r, window) {
			return false
		}
	}
	t.start(&r, window)
	return true
}

// lockPeriod tries the period of the latest window seconds and, where that explains the sound badly, the
// spacing of its partials.
func (t *Tracker) lockPeriod(window float64, r *stringfit.Result) bool {
	p, ok := t.anyPeriod(window)
	if !ok || p.aperiodicity > vaguePeriod {
		return false
	}
	if p.aperiodicity > t.clean(p, window) {
		// A stiff string's period is never clean; one fit to all that sounds says as much.
		return t.lockNear(stringfit.Guess(p.hz, guessSigma), window, r) && r.SNRdB > accept.ExplainedSNR
	}
	locked := t.lockNear(stringfit.Guess(p.hz, guessSigma), window, r)
	if !locked && math.Abs(stiffstring.Cents(p.hz, p.deepestHz)) > 50 && !t.hum(p.hz) { // two periods of hum are no note
		locked = t.lockNear(stringfit.Guess(p.deepestHz, guessSigma), window, r)
	}
	if !locked || r.SNRdB < accept.TrustedSNR {
		if k, ok := t.climb(p.hz, window); ok && t.explains(k, window, r) {
			locked = t.lockNear(k, window, r)
		}
	}
	return locked
}

// lockStiff tries what rings in the latest window seconds as the lowest partials of a very stiff string, if
// the window is long enough for them to stand apart.
func (t *Tracker) lockStiff(window float64, r *stringfit.Result) bool {
	if window < 0.9*acquireS {
		return false
	}
	k, ok := t.ladder.stiffest(t.past.from(t.next-int64(window*t.fs), t.next), t.fs)
	return ok && k.F1Hz > t.lowest && k.F1Hz < t.cfg.MaxHz && t.lockNear(k, window, r)
}

// start begins tracking with the reading r of the latest window seconds.
func (t *Tracker) start(r *stringfit.Result, window float64) {
	t.state = tracking
	t.begun(r)
	t.fresh, t.checked = true, window >= 0.9*acquireS
	// What was found knows of no glide yet.
	switch {
	case t.settling && t.note.Brief():
		t.base.Decide(t.base.Variance.Plus(stringfit.Variance{Glide: square(stringfit.HiddenGlide)}))
		t.fitted = t.base.Variance
	case t.settling && t.slid:
		t.base.MoveTo(t.note.Hz)
		t.base.Decide(t.note.Variance.Plus(t.unmodelled()))
		t.fitted = t.base.Variance
		t.plan()
	case t.settling:
		t.refit()
	}
}

// begun takes r for the first reading of the note in the bank.
func (t *Tracker) begun(r *stringfit.Result) {
	t.parts = r.Partials
	t.followed = followed{
		base: *r, fitted: r.Variance, fitWindow: r.WindowS, rest: r.Residual, begunSNR: r.SNRdB,
		settling: t.cfg.Live && t.plucked, since: t.note.Bank.First, nextFit: t.next, loudAt: t.next,
		checked: t.checked,
	}
	if t.cfg.Live && !t.settling {
		t.note.KeepPartials(livePartials)
	}
}

// shortestPeriods is how many periods a first reading needs. At 20 dB one window in twenty of the low B of a
// bass is then more than 1.3 cents off; with a tenth of a period less, 2 cents.
const shortestPeriods = 1.7

// lockExpected tries the expected pitches, while the window is too short for a search to be sure. A
// live note is taken from its first instant: what the attack spoils shows in the fit.
func (t *Tracker) lockExpected(window float64) bool {
	if len(t.expect) == 0 || t.next < t.nextExpected {
		return false
	}
	begin := max(t.body(), t.past.begin)
	if t.cfg.Live && t.plucked {
		if t.earlier > 0 {
			early := t.sharpOnset(t.earlier)
			if t.lockSince(early, float64(t.next-early)/t.fs, accept.ClearSNR) {
				t.from = t.earlier
				return true
			}
		}
		begin = t.sharpOnset(t.from)
		window = float64(t.next-begin) / t.fs
	}
	return t.lockSince(begin, window, accept.TrustedSNR)
}

// lockSince tries the expected pitches on the latest window seconds, from sample begin, against what a fit
// must explain, in dB.
func (t *Tracker) lockSince(begin int64, window, snr float64) bool {
	// At the first chance each frame counts; later a frame more of the same says the same.
	beyond := window - shortestPeriods/slices.Min(t.expect)
	t.nextExpected = t.next + int64(max(0, 0.25*beyond)*t.fs)
	for _, hz := range t.expect {
		if window > 8/hz || window < shortestPeriods/hz {
			continue
		}
		r := stringfit.Result{At: t.next, Partials: t.parts[:0]}
		if t.take(begin, stringfit.Guess(hz, accept.ExpectSigma), &r) && accept.Accepts(&r) && r.SNRdB > snr && accept.JudgeExpected(&r, hz, t.note.Brief()).OK {
			t.start(&r, window)
			return true
		}
	}
	return false
}

// sharpOnset returns the sample from which the plucked string sounds, within the frame at from that the onset
// was seen in or the one before: the first that stands out of what was before and reaches a tenth of the peak
// that follows, or half of it if that is less.
func (t *Tracker) sharpOnset(from int64) int64 {
	begin := max(from-int64(t.frame), t.past.begin)
	var peak, before float64
	x := t.past.from(begin, min(from+2*int64(t.frame), t.next))
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	quiet := t.past.from(max(begin-int64(edgeMemoryS*t.fs), t.past.begin), begin)
	for _, v := range quiet {
		before += v * v / float64(len(quiet))
	}
	const clear = 5 // times its root mean square
	least := min(peak/2, max(peak/10, clear*math.Sqrt(before)))
	for i, v := range x {
		if math.Abs(v) > least {
			return begin + int64(i) + 1
		}
	}
	return begin
}

// lockNear begins a note near f1 with all of the present sound or, where its beginning does not
// fit, with the latest window seconds, or its second half if that is not less.
func (t *Tracker) lockNear(k stringfit.Start, window float64, r *stringfit.Result) bool {
	begin := func() bool {
		all := max(t.body(), t.past.begin)
		latest := t.next - int64(window*t.fs)
		if half := (all + t.next) / 2; latest <= all && float64(t.next-half)*k.F1Hz > latestPeriods*t.fs {
			latest = half
		}
		return t.take(all, k, r) || latest > all && t.take(latest, k, r)
	}
	if t.hum(k.F1Hz) || !begin() {
		return false
	}
	up, higher := accept.Higher(r, 3)
	if !higher || up.F1Hz > t.cfg.MaxHz {
		return accept.Judge(r, accept.StageBegins).OK
	}
	// Some notes do sound with their even partials alone: they are well explained all the same. In a short
	// window a disturbed one an octave higher is, too.
	explained := window >= 0.9*acquireS && r.SNRdB > accept.EvidentSNR && accept.JudgeNumbers(r, accept.StageBegins).OK
	return t.lockNear(up, window, r) || explained && begin()
}

// climb looks for a note in the spacing of the partials, other than one near f1, once the window
// is long enough to tell them apart.
func (t *Tracker) climb(f1, window float64) (stringfit.Start, bool) {
	if window < 0.9*acquireS {
		return stringfit.Start{}, false
	}
	x := t.past.from(t.next-int64(window*t.fs), t.next)
	k, ok := t.ladder.find(x, t.fs, t.lowest, t.cfg.MaxHz)
	return k, ok && math.Abs(stiffstring.Cents(k.F1Hz, f1)) > stringfit.GuessLimit
}

// take begins the bank of the note k at sample start and reads it.
func (t *Tracker) take(start int64, k stringfit.Start, r *stringfit.Result) bool {
	f := &t.note
	r.Partials = r.Partials[:0]
	start = t.aligned(start)
	if !f.Load(t.past.from(start, t.next), start, k) || !f.FitWhole(0, f.Bank.N, stringfit.Steady, 0, r) || !accept.Judge(r, accept.StageHeard).OK {
		return false
	}
	hz := f.Hz
	t.slid = t.cfg.Live && t.plucked && r.SNRdB > accept.ExplainedSNR && f.EstimateGlide(float64(t.from))
	// Later fits begin from here, not from the first instant, which may still have been sliding.
	prior := f.Start.Prior
	f.Start = f.Learned(prior)
	f.Start.F1Hz, f.Start.SigmaCents = hz, 5
	return true
}

// latestPeriods is how many periods the second half of a sound must hold to be tried alone.
const latestPeriods = 40

// aligned returns the sample at or behind start from which whole sub-blocks reach to the newest.
func (t *Tracker) aligned(start int64) int64 { return start + (t.next-start)%int64(t.m) }

// manyPeriods is how many periods tell a note from its own second partial, noise or not.
const manyPeriods = 100

// period returns the period of the latest window seconds, if it is clear enough to be tried.
func (t *Tracker) period(window float64) (period, bool) {
	p, ok := t.anyPeriod(window)
	return p, ok && p.aperiodicity <= t.clean(p, window)
}

// anyPeriod returns the period of the latest window seconds, however clear.
func (t *Tracker) anyPeriod(window float64) (period, bool) {
	x := t.past.from(t.next-int64(window*t.fs), t.next)
	minHz := max(t.lowest, 3.2/window)
	if minHz*1.1 > t.cfg.MaxHz {
		return period{}, false
	}
	return t.yin.find(x, t.fs, minHz, t.cfg.MaxHz)
}

// clean returns the aperiodicity up to which the period p of a window is believed. A short one cannot tell a
// low note from its own second partial: only a clean period will do before the longest window is full, or
// many periods are there.
func (t *Tracker) clean(p period, window float64) float64 {
	if window >= 0.9*acquireS || p.hz*window > manyPeriods {
		return vaguePeriod
	}
	return 0.12
}

// vaguePeriod is the aperiodicity above which a period says nothing.
const vaguePeriod = 0.3

// explains reports whether the note k explains the latest window seconds better than other does.
func (t *Tracker) explains(k stringfit.Start, window float64, other *stringfit.Result) bool {
	start := t.next - int64(window*t.fs)
	if !t.probe.Load(t.past.from(start, t.next), start, k) {
		return false
	}
	r := stringfit.Result{Partials: t.spare[:0]}
	ok := t.probe.FitWhole(0, t.probe.Bank.N, stringfit.Steady, 0, &r)
	t.spare = r.Partials
	return ok && accept.Accepts(&r) && accept.Better(&r, other)
}

// hum reports whether f1 is that of mains hum, in a sound that began with no sure onset and does not decay.
func (t *Tracker) hum(f1 float64) bool {
	return accept.Mains(f1) && (!t.plucked || t.doubted) && t.power >= 0.5*t.peak
}
