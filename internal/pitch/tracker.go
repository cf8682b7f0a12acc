package pitch

import (
	"fmt"
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
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

	// OnRefused, if set, is told why what sounds is not taken for a note (yet), each reason once a sound, and how
	// many seconds into the stream that is.
	OnRefused func(atS float64, reason string)

	// OnNote, if set, is called with every note that has ended. The note is valid only during
	// the call.
	OnNote func(*Note)
}

// Spans of a note, in seconds after its onset.
const (
	historyS    = 0.8  // of the samples that is kept
	attackEndS  = 0.15 // what AttackF1Hz covers, from AttackS
	settleS     = 0.25 // from where a settled pitch is read, if the note is long enough
	noteS       = 2.2  // of a note that a settled pitch is taken from
	maxWindowS  = 60.0 // furthest end of a Config.Window
	youngS      = 0.1  // of a live note in which there are four readings a hop
	liveS       = 1.5  // longest span of a live reading
	glideS      = 1.5  // of a live note in which a glide is looked for
	shortestS   = 0.05 // a sound that ends sooner is a click
	lostS       = 0.25 // without an acceptable fit after which a note has ended
	backgroundS = 0.6  // of sound without pitch after which it is background
	onsetRoomS  = 0.1  // by which an onset may be seen before the window of a whole note is counted from
	loudLongS   = 0.04 // of sound without an onset from which something has begun all the same
)

// Range of fundamentals. The lowest key of a piano has 27.5 Hz, the highest 4186 Hz.
const (
	usualMinHz  = 25
	usualMaxHz  = 5000 // Hz, or
	usualPart   = 0.4  // of the sample rate, if that is less
	lowestHz    = 15   // that may be asked for, and
	highestPart = 0.45 // of the sample rate: a filter before the converter takes what lies above
	narrowest   = 1.5  // from the lowest to the highest, a fifth at least
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
	cfg Config
	rates
	offset *acquire.Offset
	levels *acquire.Levels
	past   *acquire.History
	next   int64 // index of the next sample to be analysed
	hopSums
	gap bool // samples were lost; the next reading says so

	search  acquire.Search
	note    stringfit.Fitter // the note that sounds, its whole bank
	probe   stringfit.Fitter // acquisitions
	ringing ringingStrings   // what rings on of earlier notes
	kept    keptNote
	work
	state
}

// rates are the lengths that the sample rate gives.
type rates struct {
	fs    float64 // Hz
	m     int     // samples in a sub-block
	frame int     // samples in a frame of levels: some sub-blocks
}

// framesPerHop is how many frames of levels a hop has: some 10.7 ms, a reading ninety times a second.
const framesPerHop = 4

// hopS returns the length of a hop in seconds.
func (r *rates) hopS() float64 { return float64(framesPerHop*r.frame) / r.fs }

// hopSums are what has come in since the last hop, of four frames, and before.
type hopSums struct {
	frames   int // of the present hop
	sumPower float64
	power    float64 // mean square, smoothed over the latest hops
	lately   float64 // the same of the latest loud moment, that fades
}

// work is space that is kept from call to call.
type work struct {
	tailHann []float64 // weights of a probe of the end of a note
	parts    []stringfit.Partial
	spare    []stringfit.Partial
	out      Reading
}

// NewTracker returns a tracker, or an error that names the setting out of range.
func NewTracker(cfg Config) (*Tracker, error) {
	if err := checkSampleRate(cfg.SampleRate); err != nil {
		return nil, err
	}
	if cfg.MinHz == 0 {
		cfg.MinHz = usualMinHz
	}
	if cfg.MaxHz == 0 {
		cfg.MaxHz = min(usualMaxHz, usualPart*cfg.SampleRate)
	}
	if !(cfg.MinHz >= lowestHz && cfg.MaxHz <= highestPart*cfg.SampleRate && cfg.MinHz*narrowest < cfg.MaxHz) {
		return nil, fmt.Errorf("range of %g to %g Hz: want %d Hz or more, less than %g of the sample rate, and over half an octave", cfg.MinHz, cfg.MaxHz, lowestHz, highestPart)
	}
	if w := cfg.Window; w != [2]float64{} && !(w[0] >= 0 && w[1] > w[0] && w[1] <= maxWindowS) {
		return nil, fmt.Errorf("window of %g to %g s after the onset: want 0 <= start < end <= %g", w[0], w[1], maxWindowS)
	}
	if cfg.Live && cfg.Window[1] > 0 {
		return nil, fmt.Errorf("a window of %g to %g s after the onset is for whole notes, not for live readings", cfg.Window[0], cfg.Window[1])
	}
	t := &Tracker{cfg: cfg, rates: rates{fs: cfg.SampleRate, m: stringfit.SubBlock(cfg.SampleRate)}}
	t.frame = acquire.FrameBlocks * t.m
	t.offset = acquire.NewOffset(t.fs)
	t.levels = acquire.NewLevels(t.fs, t.frame)
	t.past = acquire.NewHistory(int(historyS*t.fs) + t.frame)
	t.search = acquire.Search{
		SampleRate: t.fs, SubBlock: t.m, LowestHz: cfg.MinHz, MaxHz: cfg.MaxHz, Live: cfg.Live,
		Past: t.past, Note: &t.note, Probe: &t.probe, FindBeside: t.findBeside,
	}
	t.note.SampleRate, t.probe.SampleRate = t.fs, t.fs
	t.note.Accept, t.probe.Accept = accept.Accepts, accept.Accepts
	if cfg.Live {
		t.note.Partials, t.note.Live = youngPartials, true
	}
	t.note.Reserve(t.m, int(t.bankS()*t.fs))
	t.probe.Reserve(t.m, int(max(acquire.WindowS, max(checkS, ringingFitS))*t.fs)+t.m)
	return t, nil
}

// bankS returns how much of a note is kept, in seconds.
func (t *Tracker) bankS() float64 {
	switch {
	case t.cfg.Window[1] > 0:
		return t.cfg.Window[1] + onsetRoomS
	case t.cfg.Live:
		return max(noteS, 2*liveS)
	}
	return noteS
}

// Expect narrows the search. Pitches below lowest (Hz) are not looked for; 0 leaves that to
// Config.MinHz. hz are pitches that are likely to sound, such as that of the one string being
// tuned: they are tried first, and found within two or three periods; others are found as ever.
func (t *Tracker) Expect(lowest float64, hz []float64) {
	t.search.LowestHz = max(t.cfg.MinHz, min(lowest, t.cfg.MaxHz/2))
	t.search.ExpectedHz = append(t.search.ExpectedHz[:0], hz...)
}

// Push takes the next samples, the first of which has index start, and calls emit, if it is not
// nil, with a reading for every hop of about 10.7 ms that they complete, and in the first moments after a pluck
// for quarters of one: all in the first tenth of a second, then those at which there is something new. If start
// is not where the last call ended, samples were lost: a sounding note ends there and the first reading after has
// AfterGap. The reading is valid only during the call.
func (t *Tracker) Push(samples []float64, start int64, emit func(*Reading)) {
	if start != t.past.End() {
		if t.past.End() > 0 || start > 0 {
			t.Flush()
			t.gap = t.past.End() > 0
		}
		t.past.Restart(start)
		t.ringing.forget()
		t.next = start
		t.levels.Restart()
	}
	for len(samples) > 0 {
		n := min(len(samples), t.frame)
		t.past.Add(samples[:n])
		samples = samples[n:]
		newest := t.past.From(t.past.End()-int64(n), t.past.End())
		if wait := int64(t.offset.Waits()); wait > 0 {
			if t.past.End()-t.next >= wait {
				t.offset.Begin(t.past.From(t.next, t.past.End()))
				t.advanceAll(emit)
			}
			continue
		}
		t.offset.Remove(newest)
		t.ringing.subtract(newest, t.fs)
		t.advanceAll(emit)
	}
}

// advanceAll analyses the frames that are complete.
func (t *Tracker) advanceAll(emit func(*Reading)) {
	for t.next+int64(t.frame) <= t.past.End() {
		t.advance(emit)
	}
}

// Flush ends a note that still sounds, at the end of the input.
func (t *Tracker) Flush() {
	if t.offset.Waits() > 0 { // an input as short as that
		t.offset.Begin(t.past.From(t.next, t.past.End()))
		t.advanceAll(nil)
	}
	t.finish(t.next)
	t.release()
	t.state = waits(&t.state)
}

// advance analyses one frame.
func (t *Tracker) advance(emit func(*Reading)) {
	x := t.past.From(t.next, t.next+int64(t.frame))
	onset := t.levels.Add(x, t.phase == waiting)
	t.next += int64(t.frame)
	t.sumPower += t.levels.Power
	t.frames++
	switch {
	case onset:
		t.begin(t.next-int64(t.frame), true)
	case t.phase == waiting && t.levels.LoudS > loudLongS:
		t.begin(t.next-int64(t.levels.LoudS*t.fs), false)
	}
	if t.phase == tracking {
		if t.cfg.Live && t.note.Bank.Left() < t.frame/t.m {
			t.note.Bank.Drop(t.note.Bank.N / 2) // before the frame, of which none may be lost
		}
		t.note.Push(x)
	}
	if t.frames == framesPerHop || t.phase != waiting && t.young() || t.due() {
		t.hop(emit)
	}
	if t.frames == framesPerHop {
		t.frames, t.sumPower = 0, 0
	}
}

// young reports whether the present sound is so new that a live reading is due every frame, not only
// every hop: each adds much.
func (t *Tracker) young() bool { return t.cfg.Live && t.plucked && t.age() < youngS }

// due reports whether a fit to a note that settles is due: while the pitch glides, each frame more of it tells
// much, so it does not wait for the hop.
func (t *Tracker) due() bool {
	return t.cfg.Live && t.phase == tracking && t.stage == settling && t.next >= t.nextFit
}

// begin starts on a new sound.
func (t *Tracker) begin(at int64, plucked bool) {
	t.finish(at)
	switch {
	case !plucked:
		t.ringing.dropCandidate()
	case t.phase == tracking:
		t.ringing.dropCandidate()
		t.predictDecay(at)
	}
	s := beginning{from: at, plucked: plucked, doubted: !t.levels.Accustomed()}
	if plucked && t.plucked && t.phase == acquiring && float64(at-t.from) < acquire.EdgeMemoryS*t.fs {
		s.earlier = t.from
	}
	t.state = begins(s, &t.state)
}

// body returns the index from which the present sound is measured.
func (t *Tracker) body() int64 {
	if t.plucked {
		return t.from + int64(acquire.AttackS*t.fs)
	}
	return t.from
}

// age returns the time since the present sound began, in seconds.
func (t *Tracker) age() float64 { return float64(t.next-t.from) / t.fs }

// hop does the work that is due at the end of a hop, or of a frame of a young note, and gives a
// reading.
func (t *Tracker) hop(emit func(*Reading)) {
	power := t.sumPower / float64(t.frames)
	if t.frames == framesPerHop {
		t.power += powerStep * (power - t.power)
		t.lately = max(t.power, t.lately*math.Exp(-framesPerHop*float64(t.frame)/(lullS*t.fs)))
	}
	if t.phase != waiting {
		t.peak = max(t.peak, t.power)
		if t.power > heldPower*t.peak {
			t.heldUntil = t.next
		}
	}
	t.hush()
	if t.phase != waiting {
		t.confirmRinging()
	}
	switch t.phase {
	case acquiring:
		t.acquire()
	case inharmonic:
		t.followInharmonic()
	case tracking:
		t.followNote(power)
	}
	if emit == nil || !t.cfg.Live {
		return
	}
	t.report(power, emit)
}

// acquire looks for the pitch of the present sound, with a window that grows from try to try.
func (t *Tracker) acquire() {
	if !t.levels.Loud() {
		t.state = waits(&t.state)
		return
	}
	window := float64(t.next-t.body()) / t.fs
	if t.ringing.pending || t.young() && t.findExpected(window) || t.next < t.nextTry || window < shortestTryS {
		return
	}
	t.tries++
	t.nextTry = t.next + int64(max(shortestTryS, min(tryPart*window, tryS))*t.fs)
	if t.find(min(window, acquire.WindowS)) {
		return
	}
	if t.findUnison(min(window, acquire.WindowS)) {
		return
	}
	t.keepReason(t.search.RefusedBecause)
	if acquire.Long(window) {
		t.findPeaks(inharmonicShare, inharmonicPeaks)
	}
	patience := backgroundS
	if t.unison.times > 0 {
		patience = unisonWaitS
	}
	if t.age() > patience && t.tries > triesLeast {
		if t.fades() {
			t.state = t.rings()
		} else {
			t.background()
		}
	}
}

// keepReason keeps why the last candidate was no note, and tells it if it is another than before.
func (t *Tracker) keepReason(reason string) {
	if reason == "" {
		reason = "no period and no spacing of partials stands out"
	}
	if reason != t.refused && t.cfg.OnRefused != nil {
		t.cfg.OnRefused(float64(t.next)/t.fs, reason)
	}
	t.refused = reason
}

// powerStep is by how much the smoothed power moves to that of each hop: over some seven hops, longer than the swings
// of a low note within its period.
const powerStep = 0.15

// triesLeast is how often a pitch is looked for before what sounds counts as background.
const triesLeast = 4

// shortestTryS is the shortest window of an acquisition without an expected pitch, and the shortest time between two.
const shortestTryS = 0.012

// A try is due after this part of the window of the last one, and after so many seconds at the latest. Half of these
// bring a tenth of the first readings 30 ms earlier, but then strums are taken for a note below all their strings.
const (
	tryPart = 0.6
	tryS    = 0.085
)

// soundNow returns what an acquisition needs to know of the present sound.
func (t *Tracker) soundNow() acquire.Sound {
	const lasting = 0.5 // of its peak power
	return acquire.Sound{
		Now: t.next, From: t.from, Plucked: t.plucked, Doubted: t.doubted, Earlier: t.earlier,
		Lasting: t.power >= lasting*t.peak,
	}
}

// find tries to find a pitch in the latest window seconds and to begin a note.
func (t *Tracker) find(window float64) bool {
	if !t.young() && t.findExpected(window) {
		return true
	}
	found, ok := t.search.Find(t.soundNow(), window, t.parts)
	if ok {
		t.start(found)
	}
	return ok
}

// findExpected tries the expected pitches, if that is due.
func (t *Tracker) findExpected(window float64) bool {
	if len(t.search.ExpectedHz) == 0 || t.next < t.nextExpected {
		return false
	}
	found, again, ok := t.search.FindExpected(t.soundNow(), window, t.parts)
	t.nextExpected = again
	if ok {
		t.start(found)
		t.from = found.From
	}
	return ok
}

// start begins a note with what was found of it.
func (t *Tracker) start(found acquire.Found) {
	t.beginNote(&found.Result, acquire.Long(found.WindowS))
	t.fresh = true
	// What was found knows of no glide yet.
	switch {
	case t.stage == settling && t.note.Brief():
		t.base.Decide(t.base.Variance.Plus(stringfit.Variance{Glide: square(stringfit.HiddenGlide)}))
		t.fitted = t.base.Variance
	case t.stage == settling && found.Settled:
		t.base.MoveTo(t.note.Hz)
		t.base.Decide(t.note.Variance.Plus(t.addedVariance()))
		t.fitted = t.base.Variance
		t.plan()
	case t.stage == settling:
		t.refit()
	}
}

// beginNote takes r for the first reading of the note in the bank.
func (t *Tracker) beginNote(r *stringfit.Result, checked bool) {
	t.parts = r.Partials
	f := noteState{
		base: *r, stage: steady,
		lastFit:  lastFit{fitted: r.Variance, fitWindow: r.WindowS},
		fitPlan:  fitPlan{nextFit: t.next, windowFrom: t.note.Bank.First},
		presence: presence{firstSNR: r.SNRdB, residual: r.Residual, loudAt: t.next, checked: checked},
	}
	if t.cfg.Live && t.plucked {
		f.stage = settling
	}
	t.state = t.sounds(f)
	if t.cfg.Live && f.stage != settling {
		t.note.KeepPartials(livePartials)
	}
}
