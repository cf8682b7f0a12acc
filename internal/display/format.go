package display

import (
	"math"
	"strconv"
	"strings"
)

// Decimals returns how many decimals a value with standard uncertainty sigma deserves, so that
// sigma itself keeps one significant digit: 1 for 0.3, 2 for 0.02, 0 for 4. The result lies
// between 0 and most. An uncertainty that is not known (zero, negative, NaN or infinite) gives
// unknown, held to the same bounds.
func Decimals(sigma float64, unknown, most int) int {
	n := unknown
	if known(sigma) {
		n = -int(math.Floor(math.Log10(sigma)))
		if sigma*math.Pow10(n) >= 9.5 { // rounds up to the next power of ten: 0.096 is ±0.1
			n--
		}
	}
	return min(max(n, 0), most)
}

// Cents writes a deviation with its sign and the digits that sigma, its standard uncertainty in
// cents, allows: "+1.2" for 1.2374 ± 0.3. What rounds to nothing has no sign. What is not finite is "?",
// here and in the functions below.
func Cents(cents, sigma float64) string {
	return signed(cents, Decimals(sigma, 1, 3))
}

// Sigma writes a standard uncertainty in cents with one significant digit and at most three
// decimals; "?" if it is not known.
func Sigma(sigma float64) string {
	if !known(sigma) {
		return "?"
	}
	digits := Decimals(sigma, 1, 3)
	return strconv.FormatFloat(max(sigma, math.Pow10(-digits)), 'f', digits, 64)
}

// Hz writes a frequency with the digits that sigmaCents, its standard uncertainty in cents,
// allows, but never fewer than one decimal nor more than four.
func Hz(hz, sigmaCents float64) string {
	if !finite(hz) {
		return "?"
	}
	return strconv.FormatFloat(hz, 'f', max(Decimals(hzSigma(hz, sigmaCents), 2, 4), 1), 64)
}

// BeatHz writes the rate of a beat against a note of hz with the digits that sigmaCents, the
// standard uncertainty of the note in cents, allows.
func BeatHz(beat, hz, sigmaCents float64) string {
	return signed(beat, Decimals(hzSigma(hz, sigmaCents), 2, 4))
}

// String says in words for what readings are corrected: "clock +12.3 ppm, by tone"; nothing if they
// are not.
func (c Clock) String() string {
	switch c.By {
	case "":
		return ""
	case "given":
		return "clock " + PPM(c.PPM, c.SigmaPPM) + " ppm, as given"
	}
	return "clock " + PPM(c.PPM, c.SigmaPPM) + " ppm, by " + c.By
}

// PPM writes a rate error in parts per million with its sign and the digits that sigma allows.
func PPM(ppm, sigma float64) string { return signed(ppm, Decimals(sigma, 1, 3)) }

// hzSigma is the standard uncertainty in hertz of hz that is known to sigmaCents: the
// derivative of hz = ref·2^(c/1200) is hz·ln 2/1200 per cent.
func hzSigma(hz, sigmaCents float64) float64 { return hz * math.Ln2 / 1200 * sigmaCents }

// Fixed writes x with so many decimals; what rounds to nothing has no sign.
func Fixed(x float64, digits int) string {
	s := signed(x, digits)
	return strings.TrimPrefix(s, "+")
}

// Signed writes x with its sign and so many decimals; what rounds to nothing has none.
func Signed(x float64, digits int) string { return signed(x, digits) }

// Plain writes x with so many significant digits, and never with an exponent: "30000" for 3e4.
func Plain(x float64, digits int) string {
	if !finite(x) {
		return "?"
	}
	s := strconv.FormatFloat(x, 'g', digits, 64)
	if v, err := strconv.ParseFloat(s, 64); err == nil {
		s = strconv.FormatFloat(v, 'f', -1, 64)
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// Count writes a number of things: "1 note", "3 notes".
func Count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

func known(sigma float64) bool { return sigma > 0 && !math.IsInf(sigma, 1) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func signed(x float64, digits int) string {
	if !finite(x) {
		return "?"
	}
	s := strconv.FormatFloat(x, 'f', digits, 64)
	if v, err := strconv.ParseFloat(s, 64); err != nil || v == 0 {
		return strconv.FormatFloat(0, 'f', digits, 64)
	}
	if x > 0 {
		s = "+" + s
	}
	return s
}
