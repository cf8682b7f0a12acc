package pitch

import (
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/stringfit"
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
	r.LevelDB = 10 * math.Log10(max(power, 1e-15))
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
		from = min(to/4, int(max(0, settled)*perS))
	}
	if to-from < 6 || float64(to-from)/perS < 2.5/t.base.F1Hz {
		return
	}
	n := Note{Start: t.from, End: at}
	n.Reading = Reading{Result: stringfit.Result{At: at, Partials: t.spare[:0]}, State: Sounding, Onset: t.from}
	ok := f.FitWhole(from, to, move, float64(t.from), &n.Result)
	if ok && !accept.Accepts(&n.Result) {
		// One fit to a pitch that swings may explain much of it and yet be of no string.
		n.Partials = n.Partials[:0]
		ok = f.FitFrames(from, to, f.Start, false, &n.Result) && accept.Accepts(&n.Result)
	}
	t.spare = n.Partials
	if !ok && t.cfg.Live {
		// The end of a long note may be too faint; what was last read of it holds.
		parts := append(n.Partials[:0], t.base.Partials...)
		n.Result = t.base
		n.At, n.Partials = at, parts
	} else if !ok {
		return
	}
	n.LevelDB = 10 * math.Log10(max(t.peak, 1e-15))
	if !t.cfg.Live {
		t.measureAttack()
	}
	n.AttackF1Hz = t.attack
	t.cfg.OnNote(&n)
}
