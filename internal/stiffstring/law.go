// Package stiffstring holds the law of the stiff string, once: cents, where partials lie, how far those of
// real strings stray from that, and what is known of a string before it is measured. It imports nothing of
// ours.
//
// Frequencies are in Hz, intervals in cents. f1 is the frequency of partial 1, B the inharmonicity.
package stiffstring

import "math"

// centsPerOctave is 1200 by the definition of the cent (A. J. Ellis).
const centsPerOctave = 1200

// CentsPerNeper converts a natural logarithm of a frequency ratio to cents: 1200/ln 2.
const CentsPerNeper = centsPerOctave / math.Ln2

// Cents returns the interval from b up to a, 1200·log2(a/b): positive where a is sharp of b.
func Cents(a, b float64) float64 { return centsPerOctave * math.Log2(a/b) }

// PartialHz returns the frequency of partial k of a stiff string whose partial 1 is f1 (Hz):
//
//	f_k = k·f1·√((1+B·k²)/(1+B))
//
// which is f_k = k·f0·√(1+B·k²) with f1 = f0·√(1+B).
//
// Source: H. Fletcher, E. D. Blackham, R. Stratton, J. Acoust. Soc. Am. 34 (1962) 749;
// H. Fletcher, J. Acoust. Soc. Am. 36 (1964) 203.
func PartialHz(f1, b float64, k int) float64 {
	k2 := float64(k * k)
	return float64(k) * f1 * math.Sqrt((1+b*k2)/(1+b))
}

// PartialHzByB returns the derivative of [PartialHz] with respect to B, in Hz.
func PartialHzByB(f1, b float64, k int) float64 {
	return PartialHz(f1, b, k) * CentsByB(b, float64(k)) / CentsPerNeper
}

// StretchCents returns by how many cents partial r lies above r times partial 1:
//
//	600·log2((1+B·r²)/(1+B))
//
// It holds for any r > 0: a string stopped at 1/r of its length has B·r², so that its partial 1 is as much
// sharper than r times that of the open string.
func StretchCents(b, r float64) float64 {
	return CentsPerNeper / 2 * (math.Log1p(b*r*r) - math.Log1p(b))
}

// CentsByB returns the derivative of [StretchCents] with respect to B.
func CentsByB(b, r float64) float64 {
	r2 := r * r
	return CentsPerNeper / 2 * (r2 - 1) / ((1 + b*r2) * (1 + b))
}

// Nearest returns the number of the partial of f1 and B that lies nearest to hz, and by how many cents (to
// first order) hz lies above it; 0 where that is none.
func Nearest(hz, f1, b float64) (k int, off float64) {
	// k·√(1+B·k²) = y is a quadratic equation in k².
	const flexible = 1e-9 // B up to which partials are multiples
	y := hz / f1 * math.Sqrt(1+b)
	at := y
	if b > flexible {
		at = math.Sqrt((math.Sqrt(1+4*b*y*y) - 1) / (2 * b))
	}
	n := math.Round(at)
	if n < 1 {
		return 0, 0
	}
	return int(n), CentsPerNeper * (y/(n*math.Sqrt(1+b*n*n)) - 1)
}
