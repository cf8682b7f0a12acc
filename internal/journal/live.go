package journal

import (
	"math"

	"tunerd/internal/display"
)

// Of a Live:
const (
	settledS    = 0.5 // s after the onset at which a note is read first
	changeCents = 0.5 // a change worth a second reading, if it is also certain
	clearer     = 2.0 // a last reading may be so many times less certain than the best of its note
)

// A Live keeps the notes of a live session. Of each note it keeps the reading half a second after
// the onset, as the string was found, and the last clear one, as it was left, if that differs:
// somebody turned the peg. A shorter note is kept with its last reading.
//
// It is a sink of engine.Session, and takes no time.
type Live struct {
	rec *Recorder

	onset    float64 // of the note, s
	best     float64 // smallest uncertainty of the note, cents
	last     Reading // the last clear one of the note
	sounding bool    // there is a last one
	kept     Reading // the one of the note that was kept
	isKept   bool    // there is one that was kept
}

// NewLive returns a Live that keeps in rec.
func NewLive(rec *Recorder) *Live { return &Live{rec: rec} }

// Show keeps what is worth it in f.
func (l *Live) Show(f *display.Frame) error {
	if f.State != display.Sounding || f.OnsetS != l.onset {
		l.End()
	}
	if f.State != display.Sounding || f.Target.Hz == 0 {
		return nil
	}
	if !l.sounding {
		l.onset, l.best, l.isKept = f.OnsetS, math.Inf(1), false
	}
	l.best = math.Min(l.best, f.SigmaCents)
	if l.sounding && f.SigmaCents > clearer*l.best {
		return nil
	}
	l.last, l.sounding = readingOf(f), true
	if !l.isKept && f.TimeS-f.OnsetS >= settledS {
		l.keep()
	}
	return nil
}

// End ends the note that sounds. It is to be called at the end of the session.
func (l *Live) End() {
	if l.sounding && (!l.isKept || l.changed()) {
		l.keep()
	}
	l.sounding = false
}

func (l *Live) keep() {
	l.rec.Add(l.last)
	l.kept, l.isKept = l.last, true
}

// changed tells whether the last reading differs from the kept one. The pitch itself is compared,
// as the target may have changed meanwhile.
func (l *Live) changed() bool {
	certain := 3 * math.Hypot(l.last.SigmaCents, l.kept.SigmaCents)
	return l.last.String != l.kept.String ||
		math.Abs(cents(l.last.F1Hz, l.kept.F1Hz)) > math.Max(changeCents, certain)
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
