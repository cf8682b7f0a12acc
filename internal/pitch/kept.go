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
	loud float64 // the same, over beats
	held bool    // it kept its loudness
}

const (
	goesOnS     = 1.0  // s after its end within which a note may go on
	goesOnCents = 30.0 // from its pitch, beside what is not known of the two
	knockRise   = 1.6  // power over that before, up to which an onset has plucked nothing
	heldPart    = 0.6  // of a note in which one that does not decay, as bowed or sung, keeps its loudness
	legatoS     = 0.05 // s from such a note to another that is it, louder or not, if no string explains them: a swell, a beat
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
	k.lull, k.loud, k.held = t.power, t.lately, t.holds(n)
}

// holds reports whether the note n, which has just ended, kept its loudness for most of its time.
func (t *Tracker) holds(n *Note) bool {
	return float64(t.heldUntil-n.Start) > heldPart*float64(n.End-n.Start)
}

// goesOn reports whether n is the kept note that goes on.
func (t *Tracker) goesOn(n *Note) bool {
	k := &t.kept
	most := waverRise * k.lull
	if t.plucked {
		most = knockRise * k.loud
	}
	since := float64(n.Start-k.note.End) / t.fs
	if k.held && since < legatoS && t.holds(n) && (k.note.Doubt != "" || n.Doubt != "") {
		most = math.Inf(1)
	}
	room := math.Hypot(goesOnCents, 2*math.Hypot(n.SigmaCents, k.note.SigmaCents))
	return since < goesOnS && t.peak < most && math.Abs(stiffstring.Cents(n.F1Hz, k.note.F1Hz)) < room
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
	k.lull, k.loud = min(k.lull, t.power), min(k.loud, t.lately)
	if t.phase == waiting && float64(t.next-k.note.End) > goesOnS*t.fs {
		t.release()
	}
}
