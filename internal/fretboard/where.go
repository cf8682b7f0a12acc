package fretboard

import (
	"fmt"
	"math"

	"tunerd/internal/targets"
)

// beyondCents is how far below the open string or above the last fret a pitch may lie for that
// to be told as the nearest note of the string.
const beyondCents = 100

// maxBeatSide is the highest partial by which two notes are said to beat.
const maxBeatSide = 64

// A Place is where a pitch lies on one string.
type Place struct {
	String  int
	Nearest targets.Target // the fretted or open note nearest to the pitch
	Cents   float64        // of Nearest against the pitch
	Exact   bool           // Nearest is the pitch, but for rounding
	Reached bool           // false: too low or too high for the string
	Text    string         // "below the open string", "above the last fret"; else ""
	ExactMM float64        // from the nut to where the pitch itself lies; NaN below the open string
	BeatHz  float64        // of Nearest against the note below the interval; NaN if the ratio is not one of small numbers
}

// Where tells for every string where the pitch lies that is an interval above a string at a fret.
func (b *Board) Where(iv targets.Interval, str, fret int) ([]Place, error) {
	from, err := b.string(str)
	if err != nil {
		return nil, err
	}
	if fret < 0 || fret > len(from.Frets) {
		return nil, fmt.Errorf("fret %d: string %d of %s has frets 0 to %d", fret, str, b.Name, len(from.Frets))
	}
	below := from.sounds(fret).Hz
	places := make([]Place, len(b.Strings))
	for i := range b.Strings {
		s := &b.Strings[i]
		p := s.place(1200*math.Log2(below/s.Open.Hz) + iv.Cents())
		p.BeatHz = beat(iv, below, p.Nearest.Hz)
		places[i] = p
	}
	return places, nil
}

// place finds the pitch that is so many cents above the open string.
func (s *String) place(cents float64) Place {
	fret := s.nearestFret(cents)
	p := Place{String: s.Number, Nearest: s.sounds(fret), Cents: s.cents(fret) - cents, Reached: true, ExactMM: math.NaN()}
	p.Exact = math.Abs(p.Cents) <= alike
	if cents >= -alike {
		p.ExactMM = Position(s.ScaleMM, max(cents, 0))
	}
	switch {
	case p.Cents > beyondCents && fret == 0:
		p.Reached, p.Text = false, "below the open string"
	case -p.Cents > beyondCents && fret == len(s.Frets):
		p.Reached, p.Text = false, "above the last fret"
	}
	if len(s.Frets) == 0 && p.Text == "above the last fret" {
		p.Text = "no fret" // the place is known all the same
	}
	return p
}

// OnString says whether the pitch itself lies on the string as far as it is played: up to its last
// fret, or anywhere if it has none.
func (p *Place) OnString(s *String) bool {
	if len(s.Frets) == 0 {
		return p.ExactMM >= 0
	}
	return p.ExactMM <= s.Frets[len(s.Frets)-1].NutMM // NaN is not
}

// beat returns the rate at which two notes near the interval low to high beat: partial n of the
// lower and m of the higher coincide for the ratio n/m, and |n·low − m·high| is left.
func beat(iv targets.Interval, low, high float64) float64 {
	r, ok := iv.Rat()
	if !ok || !r.Num().IsInt64() || r.Num().Int64() > maxBeatSide || r.Denom().Int64() > maxBeatSide {
		return math.NaN()
	}
	return math.Abs(float64(r.Num().Int64())*low - float64(r.Denom().Int64())*high)
}

// An OneString tells whether an interval lies on one and the same string.
type OneString struct {
	String    int
	Starts    int     // notes of the string, the open one included, above which the interval is still on it
	Hits      int     // how many of these have it at a fret
	Fret      int     // nearest to it above the open string
	Cents     float64 // of that fret against the interval
	Elsewhere []Place // exactly there above the open string, on other strings
}

// OnOneString tells for every string above how many of its notes the interval lies at a fret of
// the same string. On frets at every second step of an odd division, for one, no string has an
// octave.
func (b *Board) OnOneString(iv targets.Interval) []OneString {
	all := make([]OneString, len(b.Strings))
	for i := range b.Strings {
		s := &b.Strings[i]
		o := OneString{String: s.Number}
		for start := 0; start <= len(s.Frets); start++ {
			wanted := s.cents(start) + iv.Cents()
			if wanted < -alike || wanted > s.cents(len(s.Frets))+alike {
				continue
			}
			o.Starts++
			if s.place(wanted).Exact {
				o.Hits++
			}
		}
		open := s.place(iv.Cents())
		o.Fret, o.Cents = open.Nearest.Fret, open.Cents
		places, _ := b.Where(iv, s.Number, 0) // string and fret are there
		for _, p := range places {
			if p.Exact && p.String != s.Number {
				o.Elsewhere = append(o.Elsewhere, p)
			}
		}
		all[i] = o
	}
	return all
}
