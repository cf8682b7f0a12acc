package acquire

import (
	"math"
	"slices"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// WindowS is the longest window of an acquisition, in seconds.
const WindowS = 0.17

// longWindow is the part of it from which a window counts as long: partials stand apart, and a period is not taken
// for that of the second partial.
const longWindow = 0.9

// Long reports whether a window of so many seconds is long.
func Long(window float64) bool { return window >= longWindow*WindowS }

const (
	AttackS   = 0.02 // s of an attack that are not measured
	guessDeep = 50.0 // cents from a period to the one that repeats best, from which they are two
)

// GuessSigma is how well (cents, one standard deviation) a period tells a pitch.
const GuessSigma = 12.0

// ShortestPeriods is how many periods a first reading needs. At 20 dB one window in twenty of the low B of a
// bass is then more than 1.3 cents off; with a tenth of a period less, 2 cents.
const ShortestPeriods = 1.7

// Aperiodicity of a period:
const (
	VaguePeriod = 0.3   // above which it says nothing
	cleanPeriod = 0.12  // up to which a short window is believed
	manyPeriods = 100   // that tell a note from its own second partial, noise or not
	octaveDoubt = 0.015 // above that of the period that repeats best, at which a short window leaves the octave in doubt
)

// A Sound is what began, as an acquisition needs to know of it.
type Sound struct {
	Now     int64 // index behind the newest sample
	From    int64 // index at which it began
	Plucked bool  // it began with an onset
	Doubted bool  // so soon after listening began that it may have been there before
	Earlier int64 // index of an onset just before, which may be the true one; 0: none
	Lasting bool  // it has not decayed
}

// Body returns the index from which the sound is measured.
func (s Sound) Body(fs float64) int64 {
	if s.Plucked {
		return s.From + int64(AttackS*fs)
	}
	return s.From
}

// An Origin says what a candidate was found by.
type Origin int

const (
	ByPeriod   Origin = iota // the shortest period that repeats well
	ByDeepest                // the period that repeats best
	BySpacing                // the spacing of the partials
	ByStiffest               // the lowest peaks, as the partials of a very stiff string
)

// A Candidate is a string that may sound.
type Candidate struct {
	stringfit.Start
	From  Origin
	Vague bool // its period is not clear: a stiff string's never is; one fit to all that sounds must say as much
}

// Limits say which candidates there may be.
type Limits struct {
	MinHz, MaxHz float64
	Most         float64 // aperiodicity up to which a period says anything
	WindowS      float64 // seconds of a window that grows: a short one tells less; 0: it is all there is
}

// leastHz returns the lowest pitch whose period is looked for: a window must hold three of them.
func (l Limits) leastHz() float64 {
	const periods = 3.2
	if l.WindowS == 0 {
		return l.MinHz
	}
	return max(l.MinHz, periods/l.WindowS)
}

// clear returns the aperiodicity up to which the period p is believed. A short window cannot tell a low note from
// its own second partial: only a clean period will do before the longest window is full, or many periods are
// there.
func (l Limits) clear(p Period) float64 {
	switch {
	case l.WindowS == 0 || Long(l.WindowS) || p.Hz*l.WindowS > manyPeriods:
		return l.Most
	case !p.deepest() && p.Aperiodicity > p.Deepest+octaveDoubt:
		return p.Deepest
	}
	return cleanPeriod
}

// deepest reports whether no other period repeats better than p.
func (p Period) deepest() bool { return math.Abs(stiffstring.Cents(p.Hz, p.DeepestHz)) <= guessDeep }

// A Guesser finds candidates. It holds work space and serves one goroutine.
type Guesser struct {
	Yin    Yin
	Ladder Ladder
}

// Period returns the period of x, however clear.
func (g *Guesser) Period(x []float64, fs float64, l Limits) (Period, bool) {
	const room = 1.1 // of the range of pitches
	if least := l.leastHz(); least*room <= l.MaxHz {
		return g.Yin.Find(x, fs, least, l.MaxHz)
	}
	return Period{}, false
}

// Candidates are what may sound in a window, the likeliest first, for a recording as for a live note. They are found
// one by one, as they are asked for.
type Candidates struct {
	g           *Guesser
	x, spectrum []float64
	fs          float64
	limits      Limits
	period      Period
	clear       bool // the period is
	next        Origin
}

// Candidates returns those of x, with the spacing of the partials in spectrum, where that is not empty.
func (g *Guesser) Candidates(x, spectrum []float64, fs float64, l Limits) Candidates {
	return Candidates{g: g, x: x, spectrum: spectrum, fs: fs, limits: l}
}

// Next returns the next candidate, or false if there is none.
func (c *Candidates) Next() (Candidate, bool) {
	for c.next <= ByStiffest {
		by := c.next
		c.next++
		if k, ok := c.find(by); ok {
			return k, true
		}
	}
	return Candidate{}, false
}

func (c *Candidates) find(by Origin) (Candidate, bool) {
	l := c.limits
	switch by {
	case ByPeriod:
		p, ok := c.g.Period(c.x, c.fs, l)
		if !ok || p.Aperiodicity > l.Most {
			return Candidate{}, false
		}
		c.period, c.clear = p, p.Aperiodicity <= l.clear(p)
		return Candidate{stringfit.Guess(p.Hz, GuessSigma), by, !c.clear}, true
	case ByDeepest:
		apart := c.clear && !c.period.deepest()
		return Candidate{stringfit.Guess(c.period.DeepestHz, GuessSigma), by, false}, apart
	case BySpacing:
		if len(c.spectrum) == 0 {
			return Candidate{}, false
		}
		// A very stiff and low string has no clear period.
		k, ok := c.g.Ladder.Spacing(c.spectrum, c.fs, l.MinHz, l.MaxHz)
		return Candidate{k, by, false}, ok && !(c.clear && math.Abs(stiffstring.Cents(k.F1Hz, c.period.Hz)) <= stringfit.GuessLimit)
	default:
		if len(c.spectrum) == 0 {
			return Candidate{}, false
		}
		k, ok := c.g.Ladder.Stiffest(c.spectrum, c.fs)
		return Candidate{k, by, false}, ok && k.F1Hz > l.MinHz && k.F1Hz < l.MaxHz
	}
}

// A Search finds the pitch of a sound that has begun. It serves one goroutine.
type Search struct {
	Guesser
	SampleRate float64
	SubBlock   int     // samples
	LowestHz   float64 // below which no pitch is looked for
	MaxHz      float64
	Live       bool
	ExpectedHz []float64 // pitches to try first
	Past       *History
	Note       *stringfit.Fitter // the note that is found, its whole bank
	Probe      *stringfit.Fitter // candidates
	// FindBeside finds what sounds beside a note that was found in the latest so many seconds, and gives the verdict
	// whether it stands beside that.
	FindBeside     func(r *stringfit.Result, window float64) accept.Verdict
	last           Period // of the latest try, if it had one
	settled        bool   // the last fit of a start has told what the pitch settles to
	spare          []stringfit.Partial
	RefusedBecause string // why the last candidate was not taken
}

// A Found is a note that was found.
type Found struct {
	stringfit.Result
	WindowS float64 // that it was found in
	From    int64   // index of its onset
	Settled bool    // its fit has told what the pitch settles to
}

func (a *Search) limits(window float64) Limits {
	return Limits{MinHz: a.LowestHz, MaxHz: a.MaxHz, Most: VaguePeriod, WindowS: window}
}

// latest returns the latest window seconds.
func (a *Search) latest(s Sound, window float64) []float64 {
	return a.Past.From(s.Now-int64(window*a.SampleRate), s.Now)
}

// ClearPeriod returns the period of the latest window seconds, if it is clear enough to be tried.
func (a *Search) ClearPeriod(s Sound, window float64) (Period, bool) {
	l := a.limits(window)
	p, ok := a.Period(a.latest(s, window), a.SampleRate, l)
	return p, ok && (p.Aperiodicity <= cleanPeriod || p.Aperiodicity <= l.Most && (Long(window) || p.Hz*window > manyPeriods))
}

// LastPeriod returns the period of the latest try, if it had one that says anything and no multiple of it repeats better.
func (a *Search) LastPeriod() (Period, bool) {
	return a.last, a.last.Hz > 0 && (a.last.deepest() || a.last.Aperiodicity < a.last.Deepest+octaveDoubt)
}

// Spacing looks for a note in the spacing of the partials, other than one near f1, once the window is long enough
// to tell them apart.
func (a *Search) Spacing(s Sound, f1, window float64) (stringfit.Start, bool) {
	if !Long(window) {
		return stringfit.Start{}, false
	}
	k, ok := a.Ladder.Spacing(a.latest(s, window), a.SampleRate, a.LowestHz, a.MaxHz)
	return k, ok && math.Abs(stiffstring.Cents(k.F1Hz, f1)) > stringfit.GuessLimit
}

// Find looks for the pitch of the latest window seconds among the candidates, and begins the bank of the note that
// explains them. parts has room for its partials.
func (a *Search) Find(s Sound, window float64, parts []stringfit.Partial) (Found, bool) {
	r := stringfit.Result{At: s.Now, SNRdB: math.Inf(-1), Partials: parts[:0]}
	x := a.latest(s, window)
	var spectrum []float64
	if Long(window) {
		spectrum = x
	}
	held, periodHz := false, 0.0
	a.last = Period{}
	a.RefusedBecause = ""
	all := a.Candidates(x, spectrum, a.SampleRate, a.limits(window))
	for c, ok := all.Next(); ok; c, ok = all.Next() {
		switch c.From {
		case ByPeriod:
			periodHz, a.last = c.F1Hz, all.period
			held = a.Near(s, c.Start, window, &r) && (!c.Vague || r.SNRdB > accept.ExplainedSNR)
		case ByDeepest:
			if !held && !a.MayHum(s, periodHz) { // two periods of hum are no note
				held = a.Near(s, c.Start, window, &r)
			}
		case BySpacing:
			if (!held || r.SNRdB < accept.TrustedSNR) && a.Explains(s, c.Start, window, &r) {
				held = a.Near(s, c.Start, window, &r)
			}
		case ByStiffest:
			if held && a.FindBeside(&r, window).OK {
				return a.found(s, r, window), true
			}
			r.Partials = r.Partials[:0]
			held = a.Near(s, c.Start, window, &r)
		}
		if held && r.SNRdB >= accept.TrustedSNR && c.From < BySpacing {
			break
		}
	}
	if held && a.takeVerdict(a.FindBeside(&r, window)) {
		return a.found(s, r, window), true
	}
	return Found{}, false
}

func (a *Search) found(s Sound, r stringfit.Result, window float64) Found {
	return Found{r, window, s.From, a.settled}
}

// takeVerdict keeps the reason of a verdict and returns whether it accepts.
func (a *Search) takeVerdict(v accept.Verdict) bool {
	a.RefusedBecause = v.Reason
	return v.OK
}

// FindExpected tries the expected pitches, while the window is too short for a search to be sure. A live note is
// taken from its first instant: what the attack spoils shows in the fit. It returns the index before which they
// need not be tried again.
func (a *Search) FindExpected(s Sound, window float64, parts []stringfit.Partial) (f Found, again int64, ok bool) {
	if len(a.ExpectedHz) == 0 {
		return f, 0, false
	}
	begin := max(s.Body(a.SampleRate), a.Past.Begin)
	if a.Live && s.Plucked {
		if s.Earlier > 0 {
			early := a.sharpOnset(s, s.Earlier)
			if f, again, ok = a.expectedSince(s, early, float64(s.Now-early)/a.SampleRate, accept.ClearSNR, parts); ok {
				f.From = s.Earlier
				return f, again, true
			}
		}
		begin = a.sharpOnset(s, s.From)
		window = float64(s.Now-begin) / a.SampleRate
	}
	return a.expectedSince(s, begin, window, accept.TrustedSNR, parts)
}

// mostExpectedPeriods is how many periods a window holds at most in which an expected pitch is tried first.
const mostExpectedPeriods = 8

// expectedSince tries the expected pitches on the latest window seconds, from sample begin, against what a fit
// must explain, in dB.
func (a *Search) expectedSince(s Sound, begin int64, window, snr float64, parts []stringfit.Partial) (f Found, again int64, ok bool) {
	// At the first chance each frame counts; later a frame more of the same says the same.
	beyond := window - ShortestPeriods/slices.Min(a.ExpectedHz)
	again = s.Now + int64(max(0, againPart*beyond)*a.SampleRate)
	for _, hz := range a.ExpectedHz {
		if window > mostExpectedPeriods/hz || window < ShortestPeriods/hz {
			continue
		}
		r := stringfit.Result{At: s.Now, Partials: parts[:0]}
		if a.take(s, begin, stringfit.Guess(hz, accept.ExpectSigma), &r) && a.takeVerdict(accept.Judge(&r, accept.StageHeld)) &&
			r.SNRdB > snr && a.takeVerdict(accept.JudgeExpected(&r, hz, a.Note.Brief())) {
			return a.found(s, r, window), again, true
		}
	}
	return f, again, false
}

// sharpOnset returns the sample from which the plucked string sounds, within the frame at from that the onset
// was seen in or the one before: the first that stands out of what was before and reaches a tenth of the peak
// that follows, or half of it if that is less.
func (a *Search) sharpOnset(s Sound, from int64) int64 {
	frame := int64(FrameBlocks * a.SubBlock)
	begin := max(from-frame, a.Past.Begin)
	var peak, before float64
	x := a.Past.From(begin, min(from+2*frame, s.Now))
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	quiet := a.Past.From(max(begin-int64(EdgeMemoryS*a.SampleRate), a.Past.Begin), begin)
	for _, v := range quiet {
		before += v * v / float64(len(quiet))
	}
	const (
		clear = 5  // times the root mean square before
		tenth = 10 // of the peak
	)
	least := min(peak/2, max(peak/tenth, clear*math.Sqrt(before)))
	for i, v := range x {
		if math.Abs(v) > least {
			return begin + int64(i) + 1
		}
	}
	return begin
}

// Near begins a note near f1 with all of the present sound or, where its beginning does not
// fit, with the latest window seconds, or its second half if that is not less.
func (a *Search) Near(s Sound, k stringfit.Start, window float64, r *stringfit.Result) bool {
	begin := func() bool {
		all := max(s.Body(a.SampleRate), a.Past.Begin)
		latest := s.Now - int64(window*a.SampleRate)
		if half := (all + s.Now) / 2; latest <= all && float64(s.Now-half)*k.F1Hz > latestPeriods*a.SampleRate {
			latest = half
		}
		return a.take(s, all, k, r) || latest > all && a.take(s, latest, k, r)
	}
	// Only a fit to a long window tells a string beside the mains from hum.
	mayHum := a.MayHum(s, k.F1Hz)
	if mayHum && !Long(window) {
		return a.takeVerdict(isHum)
	}
	if !begin() {
		return false
	}
	if mayHum && accept.Driven(r) || a.MayHum(s, r.F1Hz) {
		return a.takeVerdict(isHum)
	}
	up, higher := accept.Higher(r, highestMultiple)
	if !higher || up.F1Hz > a.MaxHz {
		return a.takeVerdict(accept.Judge(r, accept.StageBegins))
	}
	// Some notes do sound with their even partials alone: they are well explained all the same. In a short
	// window a disturbed one an octave higher is, too.
	explained := Long(window) && r.SNRdB > accept.EvidentSNR && accept.JudgeNumbers(r, accept.StageBegins).OK
	found := a.Near(s, up, window, r) && (Long(window) || r.SNRdB > accept.TrustedSNR)
	return found || explained && begin()
}

// Chosen, not tuned on a cell of the accuracy tables.
const (
	latestPeriods   = 40   // that the second half of a sound must hold to be tried alone
	highestMultiple = 3    // that a note of a live window may be taken for an octave or a twelfth too low by
	foundSigma      = 5.0  // cents: how well the note that was found is known where the attack still slid
	againPart       = 0.25 // by how much of its length a window grows until expected pitches are tried again
)

// take begins the bank of the note k at sample start and reads it.
func (a *Search) take(s Sound, start int64, k stringfit.Start, r *stringfit.Result) bool {
	f := a.Note
	r.Partials = r.Partials[:0]
	start = a.Aligned(s.Now, start)
	if !f.Load(a.Past.From(start, s.Now), start, k) || !f.FitWhole(0, f.Bank.N, stringfit.Steady, 0, r) {
		return a.takeVerdict(accept.Verdict{Reason: "no fit near it succeeds"})
	}
	if !a.takeVerdict(accept.Judge(r, accept.StageHeard)) {
		return false
	}
	hz := f.Hz
	a.settled = a.Live && s.Plucked && r.SNRdB > accept.ExplainedSNR && f.EstimateGlide(float64(s.From))
	// Later fits begin from here, not from the first instant, which may still have been sliding.
	prior := f.Start.Prior
	f.Start = f.Learned(prior)
	f.Start.F1Hz, f.Start.SigmaCents = hz, foundSigma
	return true
}

// Aligned returns the sample at or behind start from which whole sub-blocks reach to the newest, before index now.
func (a *Search) Aligned(now, start int64) int64 { return start + (now-start)%int64(a.SubBlock) }

// Explains reports whether the note k explains the latest window seconds better than other does.
func (a *Search) Explains(s Sound, k stringfit.Start, window float64, other *stringfit.Result) bool {
	start := s.Now - int64(window*a.SampleRate)
	if !a.Probe.Load(a.Past.From(start, s.Now), start, k) {
		return false
	}
	r := stringfit.Result{Partials: a.spare[:0]}
	ok := a.Probe.FitWhole(0, a.Probe.Bank.N, stringfit.Steady, 0, &r)
	a.spare = r.Partials
	return ok && accept.Accepts(&r) && accept.Better(&r, other)
}

// MayHum reports whether f1 is that of mains hum, in a sound that began with no sure onset and does not decay.
func (a *Search) MayHum(s Sound, f1 float64) bool {
	return accept.Mains(f1) && (!s.Plucked || s.Doubted) && s.Lasting
}

var isHum = accept.Verdict{Reason: "it is mains hum"}
