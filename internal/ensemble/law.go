package ensemble

import "math"

// centsPerNeper converts a natural logarithm of a frequency ratio to cents: 1200/ln 2.
const centsPerNeper = 1200 / math.Ln2

// partialHz returns the frequency of partial k of a stiff string whose partial 1 is f1 (Hz):
// f_k = k·f1·√((1+B·k²)/(1+B)).
//
// Source: H. Fletcher, J. Acoust. Soc. Am. 36 (1964) 203.
func partialHz(f1, b float64, k int) float64 {
	k2 := float64(k * k)
	return float64(k) * f1 * math.Sqrt((1+b*k2)/(1+b))
}

// centsByB returns by how many cents partial k rises against partial 1 for each unit of B.
func centsByB(b float64, k int) float64 {
	k2 := float64(k * k)
	return centsPerNeper / 2 * (k2 - 1) / ((1 + b*k2) * (1 + b))
}

// scatterWidth returns the half width (cents) of the distribution that partial k of a real string
// keeps about the law: narrow for the upper ones, wider for the lowest (body and bridge coupling,
// pull of pickup magnets), heavy tails for all. Own measurement on the recordings in testdata/wav.
func scatterWidth(k int) float64 {
	switch k {
	case 1:
		return 1
	case 2:
		return 0.6
	case 3:
		return 0.4
	}
	return 0.3
}
