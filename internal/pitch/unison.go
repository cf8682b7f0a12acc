package pitch

import (
	"math"

	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A unison is a sound that goes on at one period and that no single string explains: a choir, an ensemble, a bow that
// wavers. Several sources near one pitch beat with each other, partial by partial, so that no fit to all partials
// holds; the period of so many milliseconds does. What decays is none: of a bell or of several strings the period of a
// moment may be anything.
type unison struct {
	hz    float64 // the period at the last look
	times int     // looks in succession that showed the same
}

// Tuned on the choirs and bowed strings of testdata/wav/wide, and so that bells, strums and chords of voices are none.
const (
	unisonTimes = 3    // looks that show the same period, of windows that share half or less
	unisonCents = 60.0 // by which that may differ from look to look
	unisonClear = 0.12 // aperiodicity of it, at most
	unisonHeldS = 0.35 // s after the onset, from which it must not have decayed:
	unisonHeld  = 0.7  // part of its greatest power that it still has
	unisonWaitS = 1.0  // s after the onset, when what may be one and has not become one is background

	unisonPart   = 0.01 // of its power that the partials of ofNoChord have together, at least
	unisonLowest = 2e-4 // of its power that partial 1 has, at least
	unisonSigma  = 25.0 // cents within which several sources near one pitch have one

	leastAperiodicity = 1e-3 // that a level over the noise counts: 30 dB is the most that is said of it
)

// How the level of any sound is followed.
const (
	heldPower = 0.4  // of its greatest power, above which it is said to keep its loudness
	lullS     = 0.15 // s in which what is known of the latest loud moment falls to a third: longer than most beats
)

// ofNoChord are partials that a chord lacks, whose period is that of a note below all of its own: it has multiples of 2
// and 3, or of 4, 5 and 6.
var ofNoChord = [...]int{1, 7, 11, 13}

// partialPower returns the mean square of a partial of hz through a Hann window over the bank.
func (t *Tracker) partialPower(n int, hz float64) float64 {
	return 2 * stringfit.Power(t.note.Bank.AmplitudeAt(t.tailHann, n-1, float64(n)*hz/t.fs))
}

// findUnison begins a note with the period that the sound has kept for some looks, if it is a unison.
func (t *Tracker) findUnison(window float64) bool {
	p, ok := t.keptPeriod(window)
	if !ok {
		return false
	}
	r, ok := t.readUnison(p, window)
	if !ok {
		return false
	}
	t.beginNote(&r, true)
	t.stage, t.fresh = vibrato, true
	return true
}

// keptPeriod takes another look and returns the period, if a sound that lasts has kept it for long enough.
func (t *Tracker) keptPeriod(window float64) (p acquire.Period, ok bool) {
	p, ok = t.search.LastPeriod()
	lasts := t.age() < unisonHeldS || t.lately >= unisonHeld*t.peak
	if !ok || !acquire.Long(window) || p.Aperiodicity > unisonClear || !lasts {
		t.unison = unison{}
		return p, false
	}
	u := &t.unison
	if math.Abs(stiffstring.Cents(p.Hz, u.hz)) > unisonCents {
		u.times = 0
	}
	u.hz = p.Hz
	u.times++
	return p, u.times >= unisonTimes && t.age() >= unisonHeldS && !t.search.MayHum(t.soundNow(), p.Hz)
}

// readUnison demodulates the window at the partials of a period and returns the reading of a unison, if the partials
// that a chord lacks are there.
func (t *Tracker) readUnison(p acquire.Period, window float64) (r stringfit.Result, ok bool) {
	f := &t.note
	start := t.search.Aligned(t.next, t.next-int64(window*t.fs))
	k := stringfit.Guess(p.Hz, unisonSigma)
	f.Tune(k.F1Hz, k.B, start)
	f.Push(t.past.From(start, t.next))
	f.Start = k
	n := f.Bank.N
	t.tailHann = stringfit.Hann(t.tailHann, n)
	lowest := t.partialPower(1, p.Hz)
	var own float64
	for _, partial := range ofNoChord {
		if partial <= len(f.Bank.Omega) {
			own += t.partialPower(partial, p.Hz)
		}
	}
	all := f.Bank.SumEnergy(0, n) / float64(n*t.m)
	if own < unisonPart*all || lowest < unisonLowest*all {
		return r, false
	}
	r = stringfit.Result{
		At: t.next, F1Hz: p.Hz, Partial1Hz: p.Hz, B: k.B, BSigma: k.SigmaB, WindowS: window,
		SNRdB: -stringfit.DB(max(p.Aperiodicity, leastAperiodicity)), Residual: p.Aperiodicity * all,
		Partials: append(t.parts[:0], stringfit.Partial{N: 1, Hz: p.Hz, SigmaCents: unisonSigma, LevelDB: stringfit.DB(2*lowest + acquire.Quietest)}),
	}
	r.Decide(stringfit.Variance{Vibrato: square(unisonSigma)})
	return r, true
}
