package pitch

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A keptNote is the last note that has ended, kept until it is sure that it is over: a knock on the instrument, a
// beat or a waver of the bow ends what can be followed, not the note.
type keptNote struct {
	note Note
	full bool
	lull float64 // lowest mean square of the sound since
}

const (
	goesOnS     = 1.0  // s after its end within which a note may go on
	goesOnCents = 30.0 // from its pitch, beside what is not known of the two
	knockRise   = 1.6  // power over that before, up to which an onset has plucked nothing
	waverRise   = 10.0 // power over the lowest since, up to which what sounds with no onset was there all along
)

// keep keeps n, or joins it to the note before where that goes on in it.
func (t *Tracker) keep(n *Note) {
	k := &t.kept
	if k.full && t.goesOn(n) {
		if n.SigmaCents < k.note.SigmaCents {
			n.Start, n.Onset, n.AttackF1Hz, n.LevelDB = k.note.Start, k.note.Onset, k.note.AttackF1Hz, max(n.LevelDB, k.note.LevelDB)
			k.put(n)
		}
		k.note.End = n.End
	} else {
		t.release()
		k.put(n)
	}
	k.lull = t.power
}

// goesOn reports whether n is the kept note that goes on.
func (t *Tracker) goesOn(n *Note) bool {
	k := &t.kept
	rise := waverRise
	if t.plucked {
		rise = knockRise
	}
	room := math.Hypot(goesOnCents, 2*math.Hypot(n.SigmaCents, k.note.SigmaCents))
	return float64(n.Start-k.note.End) < goesOnS*t.fs && t.peak < rise*k.lull && math.Abs(stiffstring.Cents(n.F1Hz, k.note.F1Hz)) < room
}

func (k *keptNote) put(n *Note) {
	parts := append(k.note.Partials[:0], n.Partials...)
	k.note, k.full = *n, true
	k.note.Partials = parts
}

// release reports the kept note.
func (t *Tracker) release() {
	if k := &t.kept; k.full {
		k.full = false
		t.cfg.OnNote(&k.note)
	}
}

// hush sees how quiet it has become since the kept note, and whether that is over.
func (t *Tracker) hush() {
	k := &t.kept
	if !k.full || t.phase == tracking {
		return
	}
	k.lull = min(k.lull, t.power)
	if t.phase == waiting && float64(t.next-k.note.End) > goesOnS*t.fs {
		t.release()
	}
}
