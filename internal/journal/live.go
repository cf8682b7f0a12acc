package journal

import (
	"maps"
	"math"
	"slices"

	"tunerd/internal/display"
)

// Of a Live:
const (
	settledS    = 0.5 // s after the onset at which a note is read first
	changeCents = 0.5 // a change worth a second reading, if it is also certain
	clearer     = 2.0 // a last reading may be so many times less certain than the best of its note
)

// A Live keeps the notes of a live session, but for those that do not seem to be of the string held. Of each note it keeps the reading half a second after
// the onset, as the string was found, and the last clear one, as it was left, if that differs:
// somebody turned the peg. A shorter note is kept with its last reading. Where all strings are read
// at once, each of them is a note.
//
// It is a sink of engine.Session, and takes no time.
type Live struct {
	rec   *Recorder
	onset float64           // of what sounds, s
	notes map[int]*liveNote // that sound, by string where all are read at once
}

// NewLive returns a Live that keeps in rec.
func NewLive(rec *Recorder) *Live { return &Live{rec: rec, notes: map[int]*liveNote{}} }

// Show keeps what is worth it in f.
func (l *Live) Show(f *display.Frame) error {
	if f.State != display.Sounding || f.OnsetS != l.onset {
		l.End()
	}
	if f.State != display.Sounding {
		return nil
	}
	l.onset = f.OnsetS
	if f.Standing == display.Doubted { // another string than the held one, it seems
		return nil
	}
	if f.Target.Hz > 0 {
		l.hear(0, readingOf(f))
		return nil
	}
	for i := range f.Strings {
		if row := &f.Strings[i]; row.Active && row.F1Hz > 0 {
			l.hear(row.Number, readingOfRow(row))
		}
	}
	return nil
}

// hear takes the newest reading of a note.
func (l *Live) hear(note int, r Reading) {
	n := l.notes[note]
	if n == nil {
		n = &liveNote{best: math.Inf(1)}
		l.notes[note] = n
	}
	n.best = math.Min(n.best, r.SigmaCents)
	if r.SigmaCents > clearer*n.best {
		return
	}
	n.last = r
	if !n.isKept && r.TimeS-l.onset >= settledS {
		n.keep(l.rec)
	}
}

// End ends what sounds. It is to be called at the end of the session.
func (l *Live) End() {
	for _, number := range slices.Sorted(maps.Keys(l.notes)) {
		if n := l.notes[number]; !n.isKept || n.changed() {
			n.keep(l.rec)
		}
	}
	clear(l.notes)
}

// A liveNote is a note that sounds.
type liveNote struct {
	best   float64 // smallest uncertainty so far, cents
	last   Reading // the last clear one
	kept   Reading // the one that was kept
	isKept bool    // there is one that was kept
}

func (n *liveNote) keep(rec *Recorder) {
	rec.Add(n.last)
	n.kept, n.isKept = n.last, true
}

// changed tells whether the last reading differs from the kept one. The pitch itself is compared,
// as the target may have changed meanwhile.
func (n *liveNote) changed() bool {
	certain := 3 * math.Hypot(n.last.SigmaCents, n.kept.SigmaCents)
	return n.last.String != n.kept.String ||
		math.Abs(cents(n.last.F1Hz, n.kept.F1Hz)) > math.Max(changeCents, certain)
}

// cents is the interval from reference up to hz: 1200·log2(hz/reference).
func cents(hz, reference float64) float64 { return 1200 * math.Log2(hz/reference) }

func readingOf(f *display.Frame) Reading {
	return Reading{
		TimeS: f.TimeS, String: f.Target.String, Fret: f.Target.Fret, Label: f.Target.Label, TargetHz: f.Target.Hz,
		F1Hz: f.F1Hz, SigmaCents: f.SigmaCents, Cents: f.Cents, AttackF1Hz: Known(f.AttackF1Hz), Partial1Hz: Known(f.Partial1Hz),
		B: f.Inharmonicity, SNRdB: f.SNRdB, FromS: Unknown, ToS: Unknown,
	}
}

func readingOfRow(row *display.StringRow) Reading {
	return Reading{
		TimeS: row.AtS, String: row.Number, Label: row.Label, TargetHz: row.TargetHz,
		F1Hz: row.F1Hz, SigmaCents: row.Sigma, Cents: row.Cents, AttackF1Hz: Unknown, Partial1Hz: Known(row.Partial1Hz),
		B: row.Inharmonicity, SNRdB: row.SNRdB, FromS: Unknown, ToS: Unknown,
	}
}
