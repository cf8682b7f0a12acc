package fretboard

import (
	"fmt"
	"math"
	"slices"

	"tunerd/internal/targets"
)

// alike is how far two intervals may differ by rounding alone, in cents.
const alike = 1e-6

// Distances between neighbouring strings where the instrument does not give them, in mm: those
// of a usual six-string guitar (36 and 52.5 between the outer strings). Common practice, no
// source. They matter for drawings only.
const (
	usualNutGapMM    = 7.2
	usualSaddleGapMM = 10.5
)

// slotErrorMM is the slot error whose effect is told for every fret.
const slotErrorMM = 0.1

// A Board is the fretboard of an instrument, laid out.
type Board struct {
	Name    string
	Strings []String // in the instrument's order
	LastMM  float64  // the saddle farthest along the neck

	in *targets.Instrument
}

// Fretless reports whether no string has a fret.
func (b *Board) Fretless() bool {
	return !slices.ContainsFunc(b.Strings, func(s String) bool { return len(s.Frets) > 0 })
}

// A String is one string of a board.
type String struct {
	Number int // from 1
	Open   targets.Target
	Ends
	Frets []Fret // from the nut
}

// Ends are where a string begins and ends.
type Ends struct {
	ScaleMM        float64 `json:"scale_mm"`     // nut to saddle
	NutAlongMM     float64 `json:"nut_along_mm"` // of its nut along the neck
	NutAcrossMM    float64 `json:"nut_across_mm"`
	SaddleAcrossMM float64 `json:"saddle_across_mm"`
}

// A Fret is one fret of one string.
type Fret struct {
	targets.Target         // what it sounds
	Cents          float64 // above the open string
	NutMM          float64 // from the nut
	PreviousMM     float64 // from the previous fret, or the nut
	AlongMM        float64 // along the neck
	SlotCents      float64 // how much sharper the note is if the slot lies 0.1 mm too near the saddle
	CentMM         float64 // how far towards the saddle a slot makes the note one cent sharper
}

// Options change what the instrument says of its board.
type Options struct {
	Perpendicular *int // the fret that stands square to the neck; nil: the instrument's
}

// Position returns where a fret lies that raises a string of that scale length by an interval:
//
//	x = L·(1 − 2^(−c/1200))
//
// from the nut, in the unit of L. It is the law of the ideal string: frequency is inversely
// proportional to length. Source: M. Mersenne, Harmonie universelle, 1636 (from memory); for
// twelve equal steps an octave it is the workshop rule of dividing what is left by 17.817.
func Position(scale, cents float64) float64 { return -scale * math.Expm1(-cents*math.Ln2/1200) }

// New lays out the board of an instrument. All strings must have a scale length.
func New(in *targets.Instrument, o Options) (*Board, error) {
	for i, s := range in.Strings {
		if s.ScaleLengthMM == 0 {
			return nil, fmt.Errorf("string %d of %s has no scale length; give scale_length_mm in its file", i+1, in.Name)
		}
	}
	square := in.PerpendicularFret
	if o.Perpendicular != nil {
		square = *o.Perpendicular
	}
	cents, err := fretCents(in, square)
	if err != nil {
		return nil, err
	}
	b := &Board{Name: in.Name, in: in}
	aligned := 0.0 // along the neck, where all strings reach that interval
	for _, s := range in.Strings {
		aligned = max(aligned, Position(s.ScaleLengthMM, cents))
	}
	for i := range in.Strings {
		s, err := layString(in, i, aligned-Position(in.Strings[i].ScaleLengthMM, cents))
		if err != nil {
			return nil, err
		}
		b.Strings = append(b.Strings, s)
		b.LastMM = max(b.LastMM, s.NutAlongMM+s.ScaleMM)
	}
	return b, nil
}

// fretCents returns the interval of a fret on the first string that has it; 0 is the nut.
func fretCents(in *targets.Instrument, fret int) (float64, error) {
	most := 0
	for _, s := range in.Strings {
		if fret >= 1 && fret <= len(s.Frets) {
			return s.Frets[fret-1].Cents, nil
		}
		most = max(most, len(s.Frets))
	}
	if fret != 0 {
		return 0, fmt.Errorf("perpendicular fret %d: %s has frets 0 (the nut) to %d", fret, in.Name, most)
	}
	return 0, nil
}

func layString(in *targets.Instrument, i int, nutAlong float64) (String, error) {
	from := &in.Strings[i]
	s := String{Number: i + 1, Open: from.Open, Ends: Ends{
		ScaleMM: from.ScaleLengthMM, NutAlongMM: nutAlong,
		NutAcrossMM:    across(i, len(in.Strings), in.NutSpreadMM, usualNutGapMM),
		SaddleAcrossMM: across(i, len(in.Strings), in.SaddleSpreadMM, usualSaddleGapMM),
	}}
	previous := 0.0
	for n := range from.Frets {
		sounds, err := in.Fretted(i+1, n+1)
		if err != nil {
			return s, err
		}
		f := Fret{Target: sounds, Cents: from.Frets[n].Cents}
		f.NutMM = Position(s.ScaleMM, f.Cents)
		f.PreviousMM = f.NutMM - previous
		f.AlongMM = nutAlong + f.NutMM
		rest := s.ScaleMM - f.NutMM
		f.SlotCents = -1200 * math.Log2(1-slotErrorMM/rest)
		f.CentMM = Position(rest, 1)
		previous = f.NutMM
		s.Frets = append(s.Frets, f)
	}
	return s, nil
}

// across spreads n strings evenly; spread 0 takes the usual gap.
func across(i, n int, spread, gap float64) float64 {
	if n == 1 {
		return 0
	}
	if spread == 0 {
		spread = gap * float64(n-1)
	}
	return spread * (float64(i)/float64(n-1) - 0.5)
}

// AcrossMM returns how far from the middle of the neck the string runs, so many mm from its nut.
func (s *String) AcrossMM(fromNut float64) float64 {
	return s.NutAcrossMM + (s.SaddleAcrossMM-s.NutAcrossMM)*fromNut/s.ScaleMM
}

// SpreadAssumed says whether the distances between the strings are usual ones, as the instrument
// does not give them.
func (b *Board) SpreadAssumed() bool {
	return len(b.Strings) > 1 && (b.in.NutSpreadMM == 0 || b.in.SaddleSpreadMM == 0)
}

// Lowest returns the number of the string with the lowest open pitch, the last of several.
func (b *Board) Lowest() int {
	low := 0
	for i := range b.Strings {
		if b.Strings[i].Open.Hz <= b.Strings[low].Open.Hz {
			low = i
		}
	}
	return low + 1
}

// Alike says whether all strings have the same scale length and the same frets.
func (b *Board) Alike() bool {
	first := &b.Strings[0]
	for i := range b.Strings {
		s := &b.Strings[i]
		if s.ScaleMM != first.ScaleMM || len(s.Frets) != len(first.Frets) {
			return false
		}
		for fret := range s.Frets {
			if math.Abs(s.Frets[fret].Cents-first.Frets[fret].Cents) > alike {
				return false
			}
		}
	}
	return true
}

// Inches converts a length from mm.
func Inches(mm float64) float64 { return mm / 25.4 }

// string returns string n, from 1.
func (b *Board) string(n int) (*String, error) {
	if n < 1 || n > len(b.Strings) {
		return nil, fmt.Errorf("string %d: %s has strings 1 to %d", n, b.Name, len(b.Strings))
	}
	return &b.Strings[n-1], nil
}

// cents returns the interval of a fret above the open string; 0 is the open string.
func (s *String) cents(fret int) float64 {
	if fret == 0 {
		return 0
	}
	return s.Frets[fret-1].Cents
}

// sounds returns what the string sounds at a fret.
func (s *String) sounds(fret int) targets.Target {
	if fret == 0 {
		return s.Open
	}
	return s.Frets[fret-1].Target
}

// nearestFret returns the fret, 0 for the open string, whose interval is nearest to cents, the
// lower of two equally near.
func (s *String) nearestFret(cents float64) int {
	best := 0
	for fret := 1; fret <= len(s.Frets); fret++ {
		if math.Abs(s.cents(fret)-cents) < math.Abs(s.cents(best)-cents)-alike {
			best = fret
		}
	}
	return best
}
