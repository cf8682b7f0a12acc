package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// track keeps the reading of the sounding note up to date and sees its end.
func (t *Tracker) track(power float64) {
	if at, sunk := t.sunk(power); sunk {
		t.end(at)
		t.levels.settle() // what is left of it is no new note
		return
	}
	if !t.checked && t.next >= t.nextTry && t.age() > attackS+acquireS {
		t.nextTry = t.next + int64(acquireS*t.fs)
		t.checked = t.base.SNRdB > accept.TrustedSNR || t.age() > 0.7
		// A note taken an octave high leaves every other partial unexplained.
		if t.base.SNRdB < accept.ExplainedSNR && t.recheck() {
			return
		}
	}
	if !t.cfg.Live {
		return
	}
	if t.frames == 4 {
		t.look()
		if t.handled() {
			t.turn()
		}
	}
	if t.next >= t.nextFit {
		t.refit()
	}
	if t.failing > 0 && float64(t.next-t.failing)/t.fs > lostS {
		t.end(t.next)
	}
}

// recheck looks at the octave again with the longest window. If a better pitch is found, tracking
// begins afresh with it, under the same onset.
func (t *Tracker) recheck() bool {
	var k stringfit.Start
	p, ok := t.period(acquireS)
	if ok && math.Abs(stiffstring.Cents(p.hz, t.base.F1Hz)) > stringfit.GuessLimit {
		k = stringfit.Guess(p.hz, guessSigma)
	} else if ok = t.base.SNRdB < accept.TrustedSNR; ok {
		k, ok = t.climb(t.base.F1Hz, acquireS)
	}
	if !ok || !t.explains(k, acquireS, &t.base) {
		return false
	}
	r := stringfit.Result{At: t.next, Partials: t.parts[:0]}
	if !t.lockNear(k, acquireS, &r) {
		return false
	}
	t.begun(&r)
	return true
}
