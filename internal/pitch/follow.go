package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// followNote keeps the reading of the sounding note up to date and sees its end.
func (t *Tracker) followNote(power float64) {
	if at, sunk := t.followLevel(power); sunk {
		loud, hz := t.power > staysPart*t.peak, t.base.F1Hz
		t.end(at)
		if loud {
			t.findAgain(hz)
		} else {
			t.levels.TakeForBackground() // what is left of it is no new note
		}
		return
	}
	if !t.checked && t.next >= t.nextTry && t.age() > acquire.AttackS+acquire.WindowS {
		t.nextTry = t.next + int64(acquire.WindowS*t.fs)
		t.checked = t.base.SNRdB > accept.TrustedSNR || t.age() > checkedLateS
		// A note taken an octave high leaves every other partial unexplained.
		if t.base.SNRdB < accept.ExplainedSNR && power > staysPart*t.peak && t.recheck() {
			return
		}
	}
	if !t.cfg.Live {
		return
	}
	if t.frames == framesPerHop {
		t.measurePhases()
		if t.retuning() {
			t.followRetuning()
		}
	}
	if t.next >= t.nextFit {
		t.refit()
	}
	if t.failing > 0 && float64(t.next-t.failing)/t.fs > lostS {
		t.end(t.next)
	}
}

// checkedLateS is the age (s) from which the octave of a note is taken as it is.
const checkedLateS = 0.7

// staysPart is the part of the power of a note's loudest moment down to which what sounds may be looked at again for
// its octave: below 15 dB it may be other strings, that ring on.
const staysPart = 0.03

// findAgain looks for the note at hz again in what sounds now, after it was lost while loud: its pitch, or what was
// read of it in its first moments, was not the one that stays.
func (t *Tracker) findAgain(hz float64) {
	t.state = begins(beginning{from: t.next, peak: t.power, goesOnHz: hz}, &t.state)
}

// recheck looks at the octave again with the longest window. If a better pitch is found, tracking
// begins afresh with it, under the same onset.
func (t *Tracker) recheck() bool {
	var k stringfit.Start
	p, ok := t.search.ClearPeriod(t.soundNow(), acquire.WindowS)
	if ok && math.Abs(stiffstring.Cents(p.Hz, t.base.F1Hz)) > stringfit.GuessLimit {
		k = stringfit.Guess(p.Hz, acquire.GuessSigma)
	} else if ok = t.base.SNRdB < accept.TrustedSNR; ok {
		k, ok = t.search.Spacing(t.soundNow(), t.base.F1Hz, acquire.WindowS)
	}
	if !ok || !t.search.Explains(t.soundNow(), k, acquire.WindowS, &t.base) {
		return false
	}
	r := stringfit.Result{At: t.next, Partials: t.spare[:0]}
	f := &t.note
	before := f.Start
	if !t.search.Near(t.soundNow(), k, acquire.WindowS, &r) {
		// The bank is tuned to what was refused.
		t.spare = r.Partials
		start := t.search.Aligned(t.next, max(t.body(), t.past.Begin))
		f.Tune(t.base.F1Hz, t.base.B, start)
		f.Push(t.past.From(start, t.next))
		f.Start, t.attackBlocks = before, 0
		return false
	}
	t.spare = t.parts
	t.beginNote(&r, t.checked)
	return true
}
