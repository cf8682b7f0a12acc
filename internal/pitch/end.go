package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A note ends where it sinks into the background: where less of the sound is its own than is not.
//
// The background is known (levels.floor) if listening began long enough before the note. Else only the note
// itself can tell: what a fit to it leaves is, at most, the background. When the sound has fallen to near
// that, its latest instants are looked at by themselves. (Of a note that never stood clear of the rest that says
// nothing: other strings may ring with it.)
const (
	sunkRatio = 2.0   // power over the background at which a note is as loud as that
	diedRatio = 1e-5  // of the loudest hop, at which a note has died down, and
	deadRatio = 100.0 // over the background, for that to count
	lowS      = 0.1   // s for which it is: as long as it beats with hum
	nearRatio = 4.0   // power over what the last fit left from which the latest instants are looked at
	checkS    = 0.2   // s that are looked at
	checkedS  = 0.08  // s from look to look
)

// followLevel sees whether the note that sounds, the latest hop of which has the given power, has sunk into the
// background, and at which sample it did.
func (t *Tracker) followLevel(power float64) (at int64, sunk bool) {
	if !t.low(power) {
		t.loudAt = t.next
	}
	if float64(t.next-t.loudAt) > lowS*t.fs {
		return t.loudAt, true
	}
	if t.firstSNR < accept.EvidentSNR || t.power > nearRatio*t.residual || t.next < t.nextCheck || t.age() < acquire.AttackS+checkS {
		return 0, false
	}
	t.nextCheck = t.next + int64(checkedS*t.fs)
	rest, heard := t.heard()
	t.residual = rest
	return t.next - int64(checkS/2*t.fs), !heard
}

// low reports whether a power is near the background, or next to nothing of what the note was.
func (t *Tracker) low(power float64) bool {
	floor := t.levels.Floor
	return power < sunkRatio*floor || power < diedRatio*t.peak && power < deadRatio*floor
}

// heard reports whether the note is louder than all else of the latest instants: whether its partials, through a
// Hann window, have more than half of the power; and the mean square of what is not its own.
func (t *Tracker) heard() (rest float64, yes bool) {
	b := t.note.Bank
	if !t.cfg.Live {
		b = t.fillTail()
	}
	n := min(b.N, int(checkS*t.fs/float64(t.m)))
	if n < 4 {
		return t.residual, true
	}
	t.tailHann = stringfit.Hann(t.tailHann, n)
	all := b.SumEnergy(b.N-n, b.N) / float64(n*b.M)
	own := 0.0
	for _, p := range t.base.Partials {
		if p.N <= len(b.Omega) {
			own += 2 * stringfit.Power(b.AmplitudeAt(t.tailHann, p.N-1, p.Hz/t.fs))
		}
	}
	if own > all/2 {
		return max(0, all-own), true
	}
	// Two strings that beat, and a voice that swings, are heard only in shorter windows,
	if own := t.ownPower(b, n); own > all/2 {
		return max(0, all-own), true
	}
	// and one that swings faster by its period.
	p, ok := t.search.ClearPeriod(t.soundNow(), max(swungS, 5/t.base.F1Hz))
	return t.residual, ok && math.Abs(stiffstring.Cents(p.Hz, t.base.F1Hz)) < heardCents && !accept.Mains(p.Hz)
}

// heardCents is how far a voice may have swung from the pitch of its note.
const heardCents = 60

// ownPower returns the mean square, over the latest n sub-blocks of b, of what sounds near the partials of the note: of
// windows that are short, but long enough to tell its partials apart.
func (t *Tracker) ownPower(b *stringfit.Bank, n int) float64 {
	const shortS, periods = 0.04, 6
	const fewest = 4 // sub-blocks
	short := int(max(shortS, periods/t.base.F1Hz) * t.fs / float64(t.m))
	if short < fewest || 2*short > n {
		return 0
	}
	var sum float64
	windows := 0
	for from := b.N - n; from+short <= b.N; from += short / 2 {
		for _, p := range t.base.Partials {
			if p.N <= len(b.Omega) {
				sum += 2 * stringfit.Power(b.Probe(p.N-1, p.Hz, from, short, t.fs))
			}
		}
		windows++
	}
	return sum / float64(windows)
}

// fillTail demodulates the latest instants at the partials of the note, whose own bank is full.
func (t *Tracker) fillTail() *stringfit.Bank {
	f := &t.probe
	start := t.search.Aligned(t.next, t.next-int64(checkS*t.fs))
	f.Tune(t.base.F1Hz, t.base.B, start)
	f.Push(t.past.From(start, t.next))
	return f.Bank
}

// end finishes the note and waits for the next sound.
func (t *Tracker) end(at int64) {
	t.finish(at)
	t.state = waits(&t.state)
	t.levels.LoudS = 0
}
