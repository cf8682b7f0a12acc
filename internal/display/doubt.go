package display

import (
	"fmt"
	"math"
	"strconv"
)

// Doubt says in a sentence why what sounds is not taken for the string that is held; it is empty
// unless f is Doubted.
func (f *Frame) Doubt() string {
	if f.Standing != Doubted {
		return ""
	}
	return DoubtText(f.Target, f.Cents, f.Seems, f.SeemsCents)
}

// DoubtText is the sentence of Frame.Doubt for a sound that lies cents from the held string and, if
// seems is one, seemsCents from the string that it seems to be.
func DoubtText(held Target, cents float64, seems Target, seemsCents float64) string {
	if seems.String != 0 {
		return fmt.Sprintf("sounds like %s, %s cents from it; held is %s", stringName(seems), wholeCents(seemsCents), stringName(held))
	}
	side := "above"
	if cents < 0 {
		side = "below"
	}
	return fmt.Sprintf("%.0f cents %s %s, which is held: is it that string?", math.Abs(cents), side, stringName(held))
}

func stringName(t Target) string {
	return "string " + strconv.Itoa(t.String) + " (" + t.Label + ")"
}

// wholeCents writes a rough deviation.
func wholeCents(cents float64) string { return signed(cents, 0) }
