package detune

import (
	"fmt"
	"math"
)

// FarCents is how far a pair of a chord's notes may be from its ratio before the plan, in cents: a
// semitone. Beyond it parts have most likely been given to the wrong strings, and the plan would be
// made for another chord.
const FarCents = 100

// A FarError is a chord that starts farther off than FarCents.
type FarError struct {
	Chord     string
	Low, High int     // strings of the worst pair, from 1
	Cents     float64 // by how much it is off
}

func (e *FarError) Error() string {
	return fmt.Sprintf("chord %s starts %.0f cents off what it is to be, between strings %d and %d, and more than %d is most likely a part given to the wrong string",
		e.Chord, e.Cents, e.Low, e.High, FarCents)
}

// near refuses a chord that starts too far off.
func (p *Problem) near() error {
	if p.AcceptFar {
		return nil
	}
	for i := range p.Chords {
		c := &p.Chords[i]
		low, high := 0, 0
		off := c.cents(p.Instrument)
		for k := range off {
			off[k] -= c.Notes[k].Wanted.Cents()
			if off[k] < off[low] {
				low = k
			}
			if off[k] > off[high] {
				high = k
			}
		}
		if worst := off[high] - off[low]; worst > FarCents {
			a, b := c.Notes[low].String, c.Notes[high].String
			return &FarError{c.String(), max(a, b), min(a, b), math.Round(worst)}
		}
	}
	return nil
}
