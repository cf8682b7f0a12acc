package beats

import (
	"fmt"
	"math"
)

// pureCents is an error that no ear or hand knows of.
const pureCents = 1e-3

// Side says on which side of the beatless interval one is that is wide by so many cents: "wide",
// "narrow" or "pure".
func Side(cents float64) string {
	switch {
	case math.Abs(cents) < pureCents:
		return "pure"
	case cents > 0:
		return "wide"
	}
	return "narrow"
}

// Turn says which of the two notes, called lower and upper, to turn which way for the beats of an
// interval to stop that is wide by so many cents; empty if it is pure.
func Turn(lower, upper string, cents float64) string {
	switch Side(cents) {
	case "wide":
		return fmt.Sprintf("%s down or %s up", upper, lower)
	case "narrow":
		return fmt.Sprintf("%s up or %s down", upper, lower)
	}
	return ""
}

// Side says on which side of pure the measured interval is: "wide", "narrow", "unknown", or "ambiguous".
func (m *Measurement) Side() string {
	switch {
	case m.Ambiguous:
		return "ambiguous"
	case !m.Known:
		return "unknown"
	}
	return Side(m.Cents)
}

// Turn says which string to turn which way. If both are heard apart, it is the one that is clearly
// farther from its pitch to that side; else either.
func (m *Measurement) Turn(lower, upper string) string {
	if m.Ambiguous {
		return "neither yet: pluck again at another place"
	}
	if !m.Known {
		return "either a little; if the beats quicken, the other way"
	}
	down, up := m.Upper.Cents, -m.Lower.Cents // what a wide interval has too much of
	way, back := "down", "up"
	if m.Cents < 0 {
		down, up = -down, -up
		way, back = back, way
	}
	doubt := 2 * math.Hypot(m.Lower.Sigma, m.Upper.Sigma)
	switch {
	case m.Lower.Heard && m.Upper.Heard && down-up > doubt:
		return upper + " " + way
	case m.Lower.Heard && m.Upper.Heard && up-down > doubt:
		return lower + " " + back
	}
	return Turn(lower, upper, m.Cents)
}
