package engine

import (
	"math"

	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
)

// Several notes that stand in a plain ratio have a common fundamental far below both, and may be read
// as one note there; others are read as no string's partials. What tells them from one note:
const (
	coveredPartial = 12 // a reading that has no partial so high tells nothing
	toneCents      = 60 // a known tone lies so near to a partial or a multiple
	ownCents       = 250
	mostMultiple   = 12
)

// likelyOfAString are partials that multiples of 2, 3 and 5 do not reach. A string lacks one or the
// other of them, by the place of the pluck, but not its first and all of these.
var likelyOfAString = []int{1, 7, 11}

// chordLike reports whether the partials of a reading are those of several notes over a common
// fundamental at which none of them lies.
func chordLike(partials []pitch.Partial) bool {
	for _, n := range likelyOfAString {
		if findPartial(partials, n) != nil {
			return false
		}
	}
	for i := range partials {
		if partials[i].N >= coveredPartial {
			return true
		}
	}
	return false
}

// commonTo reports whether f1Hz is the common fundamental of both tones of a pair and neither of
// them.
func commonTo(f1Hz float64, pair [2]float64) bool {
	for _, hz := range pair {
		k := math.Round(hz / f1Hz)
		if k < 1 || k > mostMultiple || math.Abs(stiffstring.Cents(hz, k*f1Hz)) > toneCents {
			return false
		}
		if math.Abs(stiffstring.Cents(hz, f1Hz)) < ownCents {
			return false
		}
	}
	return true
}

// tonesHeard counts those of the tones that one of the peaks is the fundamental of.
func tonesHeard(peaks []pitch.Partial, tones []float64) int {
	n := 0
	for _, hz := range tones {
		for i := range peaks {
			if math.Abs(stiffstring.Cents(peaks[i].Hz, hz)) <= toneCents {
				n++
				break
			}
		}
	}
	return n
}

// severalHint is what a user who expected one note should know.
const severalHint = "several notes sound; --all-strings (key m) reads the strings of an instrument together"

// several turns a frame of one pitch, or of none, into one that says that several notes sound, if r shows
// that; it reports whether it did.
func (f *framer) several(out *display.Frame, r *pitch.Reading) bool {
	switch {
	case r.State == pitch.Sounding && f.pair != nil && commonTo(r.F1Hz, [2]float64{f.pair.LowerHz, f.pair.UpperHz}):
	case r.State == pitch.Sounding && chordLike(r.Partials):
	case r.State == pitch.Inharmonic && tonesHeard(r.Partials, f.tones()) >= 2:
	default:
		return false
	}
	out.State, out.OnsetS = display.Several, f.seconds(r.Onset)
	if f.pair == nil && f.manyAt != r.Onset+1 && out.Message == "" {
		out.Message, f.manyAt = severalHint, r.Onset+1
	}
	return true
}

// tones are the pitches that may sound together: those of the pair, or the open strings.
func (f *framer) tones() []float64 {
	if f.pair != nil {
		return []float64{f.pair.LowerHz, f.pair.UpperHz}
	}
	f.open = f.open[:0]
	for i := range f.rows {
		f.open = append(f.open, f.rows[i].TargetHz)
	}
	return f.open
}
