// Package clock measures by how much the clock of a sound card is off, and corrects readings for
// it.
//
// The rate error of a card is given in parts per million: a card of +50 ppm delivers
// 1 + 50·10⁻⁶ times as many samples a second as it says, so that what it hears seems 50 ppm too
// low, by 0.087 cents. [AgainstTone] compares it with a tone of known frequency, [AgainstSystem]
// with the clock of the computer. What was measured is kept for each device in a [Table]; a
// [Correction] taken from there gives the true sample rate, and with that every reading is right.
package clock

import (
	"fmt"
	"math"
)

// LimitPPM is more than any working sound card is off. The crystals in use are specified within
// ±100 ppm or better.
const LimitPPM = 500

// Ways in which a rate error was found.
const (
	ByTone   = "tone"
	BySystem = "system clock"
	ByUser   = "given"
)

// A Correction is the rate error of a sound card for which readings are corrected. The zero value
// corrects nothing.
type Correction struct {
	PPM      float64
	SigmaPPM float64 // standard uncertainty; 0: not known
	By       string  // ByTone, BySystem or ByUser; empty: no correction
}

// Rate returns the true sample rate, in Hz, of a card that says nominal.
func (c Correction) Rate(nominal int) float64 { return float64(nominal) * (1 + c.PPM*1e-6) }

// Cents returns by how much a card with the rate error ppm makes a note seem too low:
// 1200·log2(1 + ppm·10⁻⁶).
func Cents(ppm float64) float64 { return 1200 / math.Ln2 * math.Log1p(ppm*1e-6) }

// Check refuses a rate error that no sound card has.
func Check(ppm float64) error {
	if !(math.Abs(ppm) <= LimitPPM) {
		return fmt.Errorf("a rate error of %+.4g ppm is more than any sound card has (up to %d ppm is accepted)", ppm, LimitPPM)
	}
	return nil
}
