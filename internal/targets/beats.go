package targets

import "math"

// BeatRate returns the beats a second that two notes of fa and fb Hz make where partial n of a
// and partial m of b nearly coincide, that is, where fb/fa ≈ n/m:
//
//	|n·fa − m·fb|
//
// The partials are taken as harmonic; stiff strings beat otherwise. Source: H. von Helmholtz,
// On the Sensations of Tone, ch. VIII and X (from memory).
func BeatRate(n, m int, fa, fb float64) float64 {
	return math.Abs(float64(n)*fa - float64(m)*fb)
}

// BeatRateOf returns the BeatRate of two notes whose just interval is ratio, and false if that
// has no sides of whole numbers within 53 bits.
func BeatRateOf(ratio Interval, fa, fb float64) (hz float64, ok bool) {
	r, ok := ratio.Rat()
	if !ok || r.Num().BitLen() > 53 || r.Denom().BitLen() > 53 {
		return 0, false
	}
	return BeatRate(int(r.Num().Int64()), int(r.Denom().Int64()), fa, fb), true
}
