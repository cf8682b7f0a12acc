package detune

import "math"

// Constants of the roughness of two sines: W. A. Sethares, J. Acoust. Soc. Am. 94, 1218 (1993),
// fitted to R. Plomp and W. J. M. Levelt, J. Acoust. Soc. Am. 38, 548 (1965).
const (
	roughStar  = 0.24   // scaled difference of greatest roughness, as given
	roughSlope = 0.0207 // of the critical band
	roughBase  = 18.96  // Hz
	roughRise  = 3.51
	roughFall  = 5.75
	roughScale = 5
)

// roughPeak is where the fitted curve really has its maximum; roughStar is rounded.
var roughPeak = math.Log(roughFall/roughRise) / (roughFall - roughRise)

// roughness returns the roughness of two sines of linear amplitude a each (the weaker of the two):
//
//	a·5·(e^(−3.51·s·Δ) − e^(−5.75·s·Δ)),  s = 0.24/(0.0207·low + 18.96),  Δ = high − low
//
// It is 0 for Δ = 0, grows with the beat rate, and is greatest at a quarter of a critical band.
func roughness(low, high, a float64) float64 {
	return a * roughCurve(scaledDifference(low, high))
}

// beatCost is roughness that does not fall again beyond its maximum: a plan must not flee from beats
// into a wrong note.
func beatCost(low, high, a float64) float64 {
	return a * roughCurve(min(scaledDifference(low, high), roughPeak))
}

func roughCurve(x float64) float64 {
	return roughScale * (math.Exp(-roughRise*x) - math.Exp(-roughFall*x))
}

func scaledDifference(a, b float64) float64 {
	return roughStar / (roughSlope*min(a, b) + roughBase) * math.Abs(b-a)
}
