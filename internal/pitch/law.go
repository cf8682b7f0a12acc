package pitch

import "math"

// centsPerNeper converts a natural logarithm of a frequency ratio to cents: 1200/ln 2.
const centsPerNeper = 1200 / math.Ln2

// cents returns the interval from b up to a in cents: 1200·log2(a/b).
func cents(a, b float64) float64 { return 1200 * math.Log2(a/b) }

// partialHz returns the frequency of partial k of a stiff string whose partial 1 is f1 (Hz):
//
//	f_k = k·f1·√((1+B·k²)/(1+B))
//
// which is f_k = k·f0·√(1+B·k²) with f1 = f0·√(1+B).
//
// Source: H. Fletcher, E. D. Blackham, R. Stratton, J. Acoust. Soc. Am. 34 (1962) 749;
// H. Fletcher, J. Acoust. Soc. Am. 36 (1964) 203.
func partialHz(f1, b float64, k int) float64 {
	kk := float64(k)
	return kk * f1 * math.Sqrt((1+b*kk*kk)/(1+b))
}

// partialHzByB returns the derivative of [partialHz] with respect to B, in Hz.
func partialHzByB(f1, b float64, k int) float64 {
	kk := float64(k)
	g := math.Sqrt((1 + b*kk*kk) / (1 + b))
	return kk * f1 * (kk*kk - 1) / (2 * g * (1 + b) * (1 + b))
}

// A stiffnessPrior is what is known of B before anything is measured.
type stiffnessPrior struct{ mean, sigma float64 }

// priorB returns a wide prior of B for a string of any instrument that sounds at f1 (Hz).
// Strings of guitars, basses, violins and the lower piano lie between 0 and 4e-4, and B grows
// towards the top of a piano to about 2e-2 (orders of magnitude: R. W. Young, J. Acoust. Soc.
// Am. 24 (1952) 267). Three sigma cover that; wind and bowed strings (B = 0) too.
func priorB(f1 float64) stiffnessPrior {
	top := math.Pow(f1/2000, 1.8) * 4e-3
	return stiffnessPrior{mean: 6e-5 + top/4, sigma: 2.5e-4 + top}
}
