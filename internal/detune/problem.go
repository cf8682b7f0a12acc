package detune

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// DefaultLimit is how far a string may be moved up and down, in cents, if nothing is said.
const DefaultLimit = 100

// maxChords bounds the chords of a problem.
const maxChords = 100

// A Method balances chords that cannot all be pure.
type Method string

// The methods. All of them meet a single chord exactly, as far as the limits allow.
const (
	LeastSquares Method = "least squares" // of the notes' errors against the free root of each chord
	WorstError   Method = "worst error"   // the largest error of any note, then least squares
	BeatEnergy   Method = "beat energy"   // roughness of the coincident partials, a local minimum
)

// A Purity says what is to be without beats.
type Purity string

// The purities.
const (
	ByFundamentals Purity = "fundamentals" // the ratios of partials 1 are exact
	ByPartials     Purity = "partials"     // the loudest coincident partials meet, in spite of stiffness
)

// A Limit is how far a string may be moved, in cents, both 0 or more.
type Limit struct{ Down, Up float64 }

// A LoadLimit is what a string may bear after it has been raised; 0 is no limit.
type LoadLimit struct {
	Newtons float64
	Part    float64 // of its breaking limit
}

// A Measured is an open string as it sounds now. What is not known is 0.
type Measured struct {
	Hz float64 // partial 1
	B  float64 // inharmonicity at that pitch
}

// A Problem asks for a plan. The slices by string are in the instrument's order, or nil.
type Problem struct {
	Instrument *targets.Instrument
	Chords     []Chord // to be made pure
	Rest       []Chord // to be spared
	Spare      float64 // how much the mean square error of the rest counts, that of Chords 1 − Spare;
	// 0 to 1, above 0 by least squares only
	Anchor   int // the string that is not moved, from 1; 0: all may, and move as little as can be
	Limits   []Limit
	Loads    []LoadLimit
	Method   Method // "" is LeastSquares
	PureBy   Purity // "" is ByFundamentals
	Measured []Measured
	// AcceptFar takes chords that start more than [FarCents] from what they are to be.
	AcceptFar bool
}

func (p *Problem) check() error {
	n := len(p.Instrument.Strings)
	switch {
	case len(p.Chords) == 0:
		return errors.New("no chord is given")
	case len(p.Chords) > maxChords:
		return fmt.Errorf("%d chords are more than %d", len(p.Chords), maxChords)
	case p.Anchor < 0 || p.Anchor > n:
		return fmt.Errorf("anchor %d: %s has strings 1 to %d", p.Anchor, p.Instrument.Name, n)
	case p.Method != LeastSquares && p.Method != WorstError && p.Method != BeatEnergy:
		return fmt.Errorf("method %q is none of %q, %q, %q", p.Method, LeastSquares, WorstError, BeatEnergy)
	case p.PureBy != ByFundamentals && p.PureBy != ByPartials:
		return fmt.Errorf("purity %q is none of %q, %q", p.PureBy, ByFundamentals, ByPartials)
	case !(p.Spare >= 0 && p.Spare <= 1) || p.Spare > 0 && len(p.Rest) == 0:
		return fmt.Errorf("other chords cannot count %g; write 0 to 1, and 0 if there are none", p.Spare)
	case p.Spare > 0 && p.Method != LeastSquares:
		return fmt.Errorf("other chords can be spared by %s only", LeastSquares)
	case len(p.Limits) != n || len(p.Loads) != n || len(p.Measured) != n:
		return fmt.Errorf("limits or measured pitches are not those of the %d strings of %s", n, p.Instrument.Name)
	}
	for i, l := range p.Limits {
		if !(l.Down >= 0 && l.Down <= 1200 && l.Up >= 0 && l.Up <= 1200) {
			return fmt.Errorf("string %d: limits of %g down and %g up are not within 0 to 1200 cents", i+1, l.Down, l.Up)
		}
	}
	for _, c := range slices.Concat(p.Chords, p.Rest) {
		if len(c.Frets) != n || len(c.Notes) < 2 || !(c.Weight > 0) {
			return fmt.Errorf("chord %s is not one of %s", c.String(), p.Instrument.Name)
		}
	}
	return nil
}

// withDefaults fills in what was left out.
func (p Problem) withDefaults() Problem {
	n := len(p.Instrument.Strings)
	if p.Method == "" {
		p.Method = LeastSquares
	}
	if p.PureBy == "" {
		p.PureBy = ByFundamentals
	}
	if p.Limits == nil {
		p.Limits = make([]Limit, n)
		for i := range p.Limits {
			p.Limits[i] = Limit{DefaultLimit, DefaultLimit}
		}
	}
	if p.Loads == nil {
		p.Loads = make([]LoadLimit, n)
	}
	if p.Measured == nil {
		p.Measured = make([]Measured, n)
	}
	return p
}

// balanced returns all chords that count, with weights such that the mean square errors of both
// sides count as Spare says. The weights within each side keep their proportions.
func (p *Problem) balanced() []Chord {
	if p.Spare == 0 {
		return p.Chords
	}
	var all []Chord
	for _, side := range []struct {
		chords []Chord
		part   float64
	}{{p.Chords, 1 - p.Spare}, {p.Rest, p.Spare}} {
		sum := 0.0
		for _, c := range side.chords {
			sum += c.Weight * float64(len(c.Notes))
		}
		for _, c := range side.chords {
			if c.Weight *= side.part / sum; c.Weight > 0 {
				all = append(all, c)
			}
		}
	}
	return all
}

// A bound is the range of a string's move, and what sets its upper end.
type bound struct {
	lo, hi float64
	byLoad bool
}

// bounds returns the range of every string. Whatever the loads allow, a string may stay.
func (p *Problem) bounds() []bound {
	all := make([]bound, len(p.Limits))
	for i, l := range p.Limits {
		if i+1 == p.Anchor {
			continue
		}
		s := &p.Instrument.Strings[i]
		load := tension.Of(s, s.Open.Hz)
		most := math.Inf(1)
		if n := p.Loads[i].Newtons; n > 0 {
			most = min(most, load.CentsToTension(n))
		}
		if part := p.Loads[i].Part; part > 0 {
			most = min(most, load.CentsToPart(part))
		}
		all[i] = bound{-l.Down, l.Up, false}
		if most < l.Up {
			all[i] = bound{-l.Down, max(most, 0), true}
		}
	}
	return all
}

// Unbound returns the numbers of the strings whose limits of load bind nothing, as what they bear is not
// known.
func Unbound(in *targets.Instrument, loads []LoadLimit) []int {
	var all []int
	for i, l := range loads {
		s := &in.Strings[i]
		bears := tension.Of(s, s.Open.Hz)
		if l.Newtons > 0 && math.IsNaN(bears.TensionN) || l.Part > 0 && bears.Missing != "" {
			all = append(all, i+1)
		}
	}
	return all
}

// b returns the inharmonicity of open string i (from 0) when its partial 1 is at hz; NaN if it is
// not known. A measured one goes before that of the instrument's data; B falls as 1/f1².
func (p *Problem) b(i int, hz float64) float64 {
	if m := p.Measured[i]; m.B > 0 && m.Hz > 0 {
		return m.B * (m.Hz / hz) * (m.Hz / hz)
	}
	return tension.B(&p.Instrument.Strings[i], hz)
}
