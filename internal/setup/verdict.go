package setup

import "math"

// A Verdict says whether a move is worth a turn of the screw.
type Verdict string

// The verdicts.
const (
	Unknown Verdict = "not known"     // too little was read
	Leave   Verdict = "leave it"      // the move cannot be told from none
	Slight  Verdict = "hardly heard"  // it can, but the notes lie within what is heard
	Worth   Verdict = "worth a move"  // a note lies beyond what is heard, and the move mends it
	NoUse   Verdict = "not by a move" // a note lies beyond what is heard, and no move mends it
	// LowerNut: a note lies beyond what is heard, and the slot of the nut is high; a move would be
	// undone when that is lowered (common practice, no source).
	LowerNut Verdict = "lower the nut"
)

// HeardCents is the difference of pitch between notes in a melody that most people do not notice
// below it: "under 5 cents" in the article on 72 equal temperament of Wikipedia; others give 5 to 6
// (D. B. Loeffler 2006, from memory). In a chord the beats tell of far less.
const HeardCents = 5.0

// judge weighs a string.
func judge(s *StringResult) Verdict {
	if !s.Determined {
		return Unknown
	}
	nut := math.Abs(s.Move.NutMM) / s.MoveSigma.NutMM
	saddle := math.Abs(s.Move.SaddleMM) / s.MoveSigma.SaddleMM
	told := max(nut, saddle) >= 2
	far, mended := mends(s.Notes)
	switch {
	case !far && !told:
		return Leave
	case !far:
		return Slight
	case s.NutHeight.High:
		return LowerNut
	case told && mended && s.After.RMSCents < 0.8*s.Now.RMSCents:
		return Worth
	}
	return NoUse
}

// mends says whether a fretted note lies beyond what is heard, and whether the moves bring one that
// does within it, or halve it, by more than chance.
func mends(notes []NoteResult) (far, mended bool) {
	for _, n := range notes {
		now, after := math.Abs(n.Cents), math.Abs(n.AfterCents)
		if n.Fret == 0 || n.LeftOut || now <= HeardCents {
			continue
		}
		far = true
		mended = mended || now-after > 2*n.Sigma && (after <= HeardCents || after <= now/2)
	}
	return far, mended
}
