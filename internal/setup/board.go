package setup

import (
	"fmt"
	"math"
	"reflect"
	"slices"

	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// A Board is what a check needs to know of an instrument. It is kept with the readings, so that a
// check means the same later, whatever becomes of the instrument's file.
type Board struct {
	ID        string   `json:"id"`
	Name      string   `json:"name"`
	Tuning    string   `json:"tuning"`
	Reference string   `json:"reference"`
	Strings   []String `json:"strings"`
}

// A String is one string of a Board.
type String struct {
	Number       int     `json:"string"`
	Label        string  `json:"label"`
	OpenHz       float64 `json:"hz"`
	ScaleMM      float64 `json:"scale_mm"`
	SaddleAcross float64 `json:"saddle_across_mm"` // of the saddle, from the middle of the board
	NutAcross    float64 `json:"nut_across_mm"`
	B            float64 `json:"inharmonicity,omitempty"` // by the data of the string; 0: not known
	BreakShare   float64 `json:"limit_share,omitempty"`   // stress as part of the breaking limit; 0: not known
	// Elastic is E·A/T by the data of the string, which says how much pressing raises its pitch;
	// 0: not known. ElasticSpread is the standard error of its logarithm.
	Elastic       float64 `json:"elastic_over_tension,omitempty"`
	ElasticSpread float64 `json:"elastic_spread,omitempty"`
	Frets         []Fret  `json:"frets"`
}

// elasticity returns E·A/T of the string and the standard error of its logarithm, those of any
// string where they are not known.
func (s *String) elasticity() (ratio, spread float64) {
	if s.Elastic > 0 && s.ElasticSpread > 0 {
		return s.Elastic, s.ElasticSpread
	}
	any := tension.AnyElasticity
	return any.Ratio, any.Spread
}

// A Fret is one fret of a String.
type Fret struct {
	Cents float64 `json:"cents"` // above the open string
	Label string  `json:"label"` // of the note
	NutMM float64 `json:"nut_mm"`
}

// Ratio returns the wanted pitch over the open string's.
func (f Fret) Ratio() float64 { return math.Exp2(f.Cents / 1200) }

// NewBoard takes from an instrument what a check needs. Strings without frets are left out; one at
// least must have some.
func NewBoard(in *targets.Instrument) (*Board, error) {
	if !slices.ContainsFunc(in.Strings, func(s targets.InstrumentString) bool { return len(s.Frets) > 0 }) {
		return nil, fmt.Errorf("%s has no frets; a check of intonation compares fretted notes with open strings", in.Name)
	}
	layout, err := fretboard.New(in, fretboard.Options{})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", in.Name, err)
	}
	b := &Board{ID: in.ID, Name: in.Name, Tuning: in.Tuning.String(), Reference: in.Tuning.Reference().String()}
	for i := range layout.Strings {
		if s := &layout.Strings[i]; len(s.Frets) > 0 {
			b.Strings = append(b.Strings, newString(s, &in.Strings[i]))
		}
	}
	return b, nil
}

func newString(s *fretboard.String, in *targets.InstrumentString) String {
	out := String{
		Number: s.Number, Label: s.Open.Label, OpenHz: s.Open.Hz, ScaleMM: s.ScaleMM,
		SaddleAcross: s.SaddleAcrossMM, NutAcross: s.NutAcrossMM,
	}
	if b := tension.B(in, s.Open.Hz); b > 0 {
		out.B = b
	}
	if part := tension.Of(in, s.Open.Hz).Part(); part > 0 {
		out.BreakShare = part
	}
	if e := tension.Elastic(in, s.Open.Hz); e.Known {
		out.Elastic, out.ElasticSpread = e.Ratio, e.Spread
	}
	for _, f := range s.Frets {
		out.Frets = append(out.Frets, Fret{Cents: f.Cents, Label: f.Label, NutMM: f.NutMM})
	}
	return out
}

// Same says whether two boards have the same strings and frets. Files of older checks lack the
// elasticity of strings, so that does not count.
func (b *Board) Same(other *Board) bool { return reflect.DeepEqual(b.bare(), other.bare()) }

// bare is a copy without what older files lack.
func (b *Board) bare() Board {
	c := *b
	c.Strings = slices.Clone(b.Strings)
	for i := range c.Strings {
		c.Strings[i].Elastic, c.Strings[i].ElasticSpread = 0, 0
	}
	return c
}

// at returns the index of string number n.
func (b *Board) at(n int) (int, bool) {
	for i := range b.Strings {
		if b.Strings[i].Number == n {
			return i, true
		}
	}
	return 0, false
}

// check finds what a board from a file lacks.
func (b *Board) check() error {
	if len(b.Strings) == 0 {
		return fmt.Errorf("the board has no strings")
	}
	for _, s := range b.Strings {
		if !(s.OpenHz > 0 && s.ScaleMM > 0 && s.OpenHz < 1e5 && s.ScaleMM < 1e5) {
			return fmt.Errorf("string %d: %g Hz on %g mm is no string", s.Number, s.OpenHz, s.ScaleMM)
		}
		if s.Elastic < 0 || s.ElasticSpread < 0 || s.Elastic > 1e5 || s.ElasticSpread > 10 {
			return fmt.Errorf("string %d: E·A/T of %g (spread %g) is that of no string", s.Number, s.Elastic, s.ElasticSpread)
		}
		last := 0.0
		for k, f := range s.Frets {
			if !(f.Cents > 0 && f.Cents >= last && f.Cents < 10000) {
				return fmt.Errorf("string %d: fret %d at %g cents is not above the one before it", s.Number, k+1, f.Cents)
			}
			last = f.Cents
		}
	}
	return nil
}

// slots numbers the fret slots of a board: strings share the slot of a fret that has the same
// number and the same interval on both, as it is one piece of wire.
type slots struct {
	of    [][]int // by string and fret, both from 0
	frets []int   // number of the fret in each slot
}

func (b *Board) slots() slots {
	type key struct{ fret, cents int }
	known := map[key]int{}
	s := slots{of: make([][]int, len(b.Strings))}
	for i, str := range b.Strings {
		for k, f := range str.Frets {
			id := key{k + 1, int(math.Round(f.Cents * 100))}
			slot, ok := known[id]
			if !ok {
				slot = len(s.frets)
				known[id] = slot
				s.frets = append(s.frets, k+1)
			}
			s.of[i] = append(s.of[i], slot)
		}
	}
	return s
}
