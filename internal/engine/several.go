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
	lowOfOne       = 3 // a string that sounds loudest at so low a partial, were it the fundamental of one, would show its octave
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
	if len(partials) == 0 {
		return false
	}
	loudest, covered := 0, false
	for i := range partials {
		if partials[i].LevelDB > partials[loudest].LevelDB {
			loudest = i
		}
		covered = covered || partials[i].N >= coveredPartial
	}
	n := partials[loudest].N
	return covered && (n > lowOfOne || findPartial(partials, 2*n) != nil)
}

// What tells a chord whose thirds or fifths are not those of whole-number ratios from one note: the partials of
// one string lie then together beside the law that those of the others keep. Set on the strums in testdata/wav, of
// which none may be read as one note, and the single notes there, which may not be taken for several.
const (
	weakFirst = 15.0 // dB below the loudest that partial 1 is at most
	besideLaw = 9.0  // cents between them and the others
	besideBy  = 2.5  // and standard deviations
	loudReach = 20.0 // dB below the loudest that a partial counts
	groupDB   = 12.0 // and the loudest of them
	noPartial = 60.0 // cents off the law at which it is no partial of the note
	others    = 3    // partials at least that keep the law
)

// rootsBesideOthers are the numbers of partials that are the fundamentals of a twelfth and a third above the
// common fundamental of a chord.
var rootsBesideOthers = []int{3, 5}

// chordBeside reports whether the partials of a reading are those of several notes near a common
// fundamental: where hardly anything lies, and beside which one of them is.
func chordBeside(partials []pitch.Partial) bool {
	loudest := loudestOf(partials)
	if ofOneString(partials, loudest) {
		return false
	}
	for _, n := range rootsBesideOthers {
		if besideOthers(partials, n, loudest) {
			return true
		}
	}
	return false
}

// A fundamental that only so few tones share, all of them as high as that over it, is none: what is left of a string
// when its lowest partials are not heard is a row of others without a gap.
const (
	fewTones  = 3
	lowestOne = 4
)

// fewHigh reports whether a reading rests on a few tones high above its fundamental.
func fewHigh(partials []pitch.Partial) bool {
	for i := range partials {
		if partials[i].N < lowestOne {
			return false
		}
	}
	return len(partials) > 1 && len(partials) <= fewTones
}

// ofSeveral reports whether partials are those of several notes over a common fundamental.
func ofSeveral(partials []pitch.Partial) bool {
	return chordLike(partials) || chordBeside(partials) || fewHigh(partials)
}

func loudestOf(partials []pitch.Partial) float64 {
	loudest := math.Inf(-1)
	for i := range partials {
		loudest = max(loudest, partials[i].LevelDB)
	}
	return loudest
}

// ofOneString reports whether a partial is heard that strings have and the notes of a chord over their common
// fundamental do not.
func ofOneString(partials []pitch.Partial, loudest float64) bool {
	for _, n := range likelyOfAString {
		limit := weakFirst
		if n > 1 {
			limit = loudReach
		}
		if p := findPartial(partials, n); p != nil && math.Abs(p.OffCents) < noPartial && p.LevelDB > loudest-limit {
			return true
		}
	}
	return false
}

// besideOthers reports whether the multiples of partial n lie together, and apart from the others.
func besideOthers(partials []pitch.Partial, n int, loudest float64) bool {
	var count, sum, squares [2]float64 // of the others, and of the multiples
	top := math.Inf(-1)
	for i := range partials {
		p := &partials[i]
		if p.N < 2 || p.N > coveredPartial || math.Abs(p.OffCents) > noPartial || p.LevelDB < loudest-loudReach || !p.Placed() {
			continue
		}
		group := 0
		if p.N%n == 0 {
			group = 1
			top = max(top, p.LevelDB)
		}
		count[group]++
		sum[group] += p.OffCents
		squares[group] += p.OffCents * p.OffCents
	}
	if count[1] < 1 || count[0] < others || top < loudest-groupDB {
		return false
	}
	apart := math.Abs(sum[0]/count[0] - sum[1]/count[1])
	left := squares[0] - sum[0]*sum[0]/count[0] + squares[1] - sum[1]*sum[1]/count[1]
	spread := math.Sqrt(max(0, left) / (count[0] + count[1] - 2))
	return apart > besideLaw && apart > besideBy*spread
}

// A lone low tone is all that is left of a note between two others' loudest partials: where a low string sounds by
// itself, more than one of its partials is heard, or the one is known well.
const (
	lowTone   = 330.0 // Hz, below which a reading of one partial is asked
	vagueTone = 7.0   // cents
	coveredDB = 12.0  // over the rest, that it explains at most
)

// betweenOthers reports whether a reading may be a fit to what lies between two tones.
func betweenOthers(r *pitch.Reading) bool {
	return len(r.Partials) == 1 && r.F1Hz < lowTone && r.SigmaCents > vagueTone && r.SNRdB < coveredDB
}

// A standing is what the sound that was last read has been taken for, at the pitch at which it was read. It keeps
// that for as long as it lasts: partials that fade or beat are no reason to think otherwise, but those that only one
// string has settle it.
type standing struct {
	onset int64
	f1Hz  float64
	as    kind
}

type kind int

const (
	unknown kind = iota
	manyNotes
	oneNote
)

// of returns what r is taken for after all that came before it.
func (s *standing) of(r *pitch.Reading) kind {
	before := unknown
	if s.as != unknown && r.Onset == s.onset && math.Abs(stiffstring.Cents(r.F1Hz, s.f1Hz)) < toneCents {
		before = s.as
	}
	switch {
	case before == oneNote || ofOneString(r.Partials, loudestOf(r.Partials)):
		return oneNote
	case before == manyNotes || ofSeveral(r.Partials):
		return manyNotes
	}
	return unknown
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

// several turns a frame of one pitch, or of none, into one that says that several notes sound, if r shows
// that; it reports whether it did. What can be done about it every view says in its own words.
func (f *framer) several(out *display.Frame, r *pitch.Reading) bool {
	if r.State == pitch.Sounding {
		f.taken = standing{r.Onset, r.F1Hz, f.taken.of(r)}
	}
	switch {
	case r.State == pitch.Sounding && f.pair != nil && commonTo(r.F1Hz, [2]float64{f.pair.LowerHz, f.pair.UpperHz}):
	case r.State == pitch.Sounding && f.taken.as == manyNotes:
	case r.State == pitch.Inharmonic && tonesHeard(r.Partials, f.tones()) >= 2:
	default:
		return false
	}
	out.State, out.OnsetS = display.Several, f.seconds(r.Onset)
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
