package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// report gives the reading of this hop.
func (t *Tracker) report(power float64, emit func(*Reading)) {
	r := &t.out
	parts := r.Partials[:0]
	switch t.phase {
	case waiting:
		*r = Reading{}
	case acquiring, inharmonic:
		*r = Reading{State: Unsure, Onset: t.from, Refused: t.refused}
		if len(t.ring.peaks) > 0 {
			r.State = Inharmonic
			parts = append(parts, t.ring.peaks...)
		}
	case tracking:
		*r = Reading{Result: t.base, State: Sounding, Onset: t.from, AttackF1Hz: t.attack}
		r.NewOnset, t.fresh = t.fresh, false
		parts = append(parts, t.base.Partials...)
		t.setPhases(parts)
	}
	r.Partials = parts
	r.At = t.next
	r.LevelDB = stringfit.DB(max(power, silence))
	r.AfterGap, t.gap = t.gap, false
	emit(r)
}

// finish reports the note that sounds, if one does, as ended at sample at.
func (t *Tracker) finish(at int64) {
	if t.phase != tracking || t.cfg.OnNote == nil {
		return
	}
	f := &t.note
	if float64(at-t.from)/t.fs < shortestS {
		return
	}
	perS := t.fs / float64(t.m)
	from, to := 0, f.Bank.N
	to = min(to, int(float64(at-f.Bank.First)/float64(t.m)))
	move := stringfit.Settles
	if w := t.cfg.Window; w[1] > 0 {
		begin := float64(f.Bank.First-t.from) / t.fs
		from = max(0, int((w[0]-begin)*perS))
		to = min(to, int((w[1]-begin)*perS))
		move = stringfit.Drifts
	} else if !t.plucked {
		move = stringfit.Drifts
	} else {
		// Where the note is long enough, what is left of the attack and most of the glide is left out.
		settled := settleS - float64(f.Bank.First-t.from)/t.fs
		from = min(to/leftOut, int(max(0, settled)*perS))
	}
	if to-from < leastFitBlocks || float64(to-from)/perS < leastNotePeriods/t.base.F1Hz {
		return
	}
	n := Note{Start: t.from, End: at}
	n.Reading = Reading{Result: stringfit.Result{At: at, Partials: t.spare[:0]}, State: Sounding, Onset: t.from}
	n.Doubt = t.whole(from, to, move, &n.Result)
	t.spare = n.Partials
	n.LevelDB = stringfit.DB(max(t.peak, silence))
	if !t.cfg.Live {
		t.measureAttack()
	}
	n.AttackF1Hz = t.attack
	t.keep(&n)
}

const (
	silence          = 1e-15 // mean square that stands for none in a level: -150 dB re full scale
	leftOut          = 4     // a quarter of a note at most is left out at its beginning
	leastFitBlocks   = 6     // sub-blocks that a fit needs: a partial has four unknowns, and something must be left
	leastNotePeriods = 2.5   // of a note of which a pitch is given
)

// Why the pitch of a note is in doubt.
const (
	doubtOnePartial = "no string's partials explain the whole of it; the pitch is that of one of them"
	doubtPart       = "only a part of it could be read"
)

// whole reads the pitch of the sub-blocks [from, to) of the note into r: by a fit to all of it, frame by frame, from
// one partial or, where it has none of these, by what was last read of it. It returns what makes it doubtful.
func (t *Tracker) whole(from, to int, move stringfit.Motion, r *stringfit.Result) (doubt string) {
	f := &t.note
	start := f.Start
	ok := f.FitWhole(from, to, move, float64(t.from), r)
	if ok && accept.Accepts(r) {
		return ""
	}
	// One fit to a pitch that swings may explain much of it and yet be of no string.
	r.Partials = r.Partials[:0]
	if f.FitFrames(from, to, start, false, r) && accept.Accepts(r) {
		return ""
	}
	if f.FitOnePartial(from, to, &t.base, r) {
		// Where the first moments had another pitch, a fit may succeed from here.
		one := *r
		if math.Abs(stiffstring.Cents(one.F1Hz, start.F1Hz)) > acquire.GuessSigma {
			k := stringfit.Guess(one.F1Hz, acquire.GuessSigma)
			r.Partials, f.Start = nil, k
			if f.FitWhole(from, to, move, float64(t.from), r) && accept.Judge(r, accept.StageHeld).OK {
				return ""
			}
			f.Start = start
		}
		*r = one
		return doubtOnePartial
	}
	at, parts := r.At, append(r.Partials[:0], t.base.Partials...)
	*r = t.base
	r.At, r.Partials = at, parts
	r.Decide(r.Variance.Plus(stringfit.Variance{Unmodelled: square(partSigma)}))
	return doubtPart
}

// partSigma is how far (cents, one standard deviation) the pitch of a note may lie from that of a part of it: what a
// single partial keeps to.
const partSigma = 5.0
