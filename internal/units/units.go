// Package units reads and writes lengths and tensions in the units of a workshop. Inside the program lengths
// are in mm and tensions in N; only what a person reads or writes has other units.
package units

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A Unit of length or tension, by the name that is written after a number.
type Unit string

// The units that there are.
const (
	MM   Unit = "mm"
	Inch Unit = "in"
	N    Unit = "N"
	Kgf  Unit = "kgf"
	Lbf  Unit = "lbf"
)

// What one of each is in mm or N. The inch, the pound and the standard acceleration of gravity that they
// follow from are exact by definition (NIST SP 811, 2008, appendix B).
var worth = map[Unit]float64{MM: 1, Inch: 25.4, N: 1, Kgf: 9.80665, Lbf: 0.45359237 * 9.80665}

// spellings are other ways to write a unit.
var spellings = map[string]Unit{`"`: Inch, "inch": Inch, "inches": Inch, "kg": Kgf, "kp": Kgf, "lb": Lbf, "lbs": Lbf}

var (
	lengths  = []Unit{MM, Inch}
	tensions = []Unit{N, Kgf, Lbf}
)

// A System says in which units a person reads and writes.
type System struct {
	Length  Unit
	Tension Unit
}

// Metric is the system of a person who has chosen none.
var Metric = System{MM, N}

// Help says what Parse accepts.
const Help = "mm or in, and N, kgf or lbf, such as in,lbf"

// Parse reads a system: a unit of length, one of tension, or both. What is left out stays as in s.
func (s System) Parse(text string) (System, error) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' })
	if len(words) == 0 {
		return s, fmt.Errorf("units %q: write %s", text, Help)
	}
	for _, w := range words {
		u, ok := unitOf(w)
		switch {
		case !ok:
			return s, fmt.Errorf("units %q: %q is none; write %s", text, w, Help)
		case slices.Contains(lengths, u):
			s.Length = u
		default:
			s.Tension = u
		}
	}
	return s, nil
}

// String writes the system as Parse reads it.
func (s System) String() string { return string(s.Length) + "," + string(s.Tension) }

// MMOf reads a length, "650", "650mm", "25.5in", and returns it in mm. Without a unit it is in s.Length.
func (s System) MMOf(text string) (float64, error) { return read(text, s.Length, lengths, "length") }

// NOf reads a tension, "80", "80N", "18 lbf", and returns it in N. Without a unit it is in s.Tension.
func (s System) NOf(text string) (float64, error) {
	return read(text, s.Tension, tensions, "tension")
}

// FromMM and FromN convert to the units of the system.
func (s System) FromMM(mm float64) float64 { return mm / worth[s.Length] }

// FromN converts a tension.
func (s System) FromN(n float64) float64 { return n / worth[s.Tension] }

// unitOf finds a unit, whatever its case.
func unitOf(text string) (Unit, bool) {
	for u := range worth {
		if strings.EqualFold(string(u), text) {
			return u, true
		}
	}
	u, ok := spellings[strings.ToLower(text)]
	return u, ok
}

func read(text string, usual Unit, accepted []Unit, what string) (float64, error) {
	text = strings.TrimSpace(text)
	number := strings.TrimRight(strings.TrimRight(text, `abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"`), " ")
	unit := usual
	if suffix := strings.TrimSpace(text[len(number):]); suffix != "" {
		u, ok := unitOf(suffix)
		if !ok || !slices.Contains(accepted, u) {
			return 0, fmt.Errorf("%s %q: write it in %s", what, text, names(accepted))
		}
		unit = u
	}
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || !(x > 0) || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%s %q is no number above 0 of %s", what, text, names(accepted))
	}
	return x * worth[unit], nil
}

func names(all []Unit) string {
	text := ""
	for i, u := range all {
		switch {
		case i == 0:
		case i == len(all)-1:
			text += " or "
		default:
			text += ", "
		}
		text += string(u)
	}
	return text
}
