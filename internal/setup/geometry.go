package setup

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Ends says how far nut and saddle stand off their places on the drawing, mm. Positive is away
// from the head of the instrument for both: NutMM shortens the open string, SaddleMM lengthens
// every note.
type Ends struct {
	NutMM    float64 `json:"nut_mm"`
	SaddleMM float64 `json:"saddle_mm"`
}

// Deviation returns how far a fretted note lies off its place above the open string, in cents, by
// the lengths of an ideal string alone:
//
//	1200·log2( (1 + (s−n)/L) / (1 + r·(s−e)/L) )
//
// for a scale of L mm, ends off by n and s, and a fret of ratio r that stands e mm too near the
// saddle. It is exact. Derived from f ∝ 1/length (M. Mersenne, Harmonie universelle, 1636, from
// memory).
func Deviation(scaleMM float64, ends Ends, r, fretMM float64) float64 {
	open := (ends.SaddleMM - ends.NutMM) / scaleMM
	stopped := r * (ends.SaddleMM - fretMM) / scaleMM
	return stiffstring.CentsPerNeper * (math.Log1p(open) - math.Log1p(stopped))
}

// FirstOrder is Deviation to first order in the shifts:
//
//	(1200/ln 2)·(−n/L − (s/L)·(r−1) + r·e/L)
//
// It is off by (600/ln 2)·((r·(s−e)/L)² − ((s−n)/L)²) and terms of third order: at r = 2 and 648 mm
// that is 0.06 cents for a saddle 3 mm off, 0.6 cents for 10 mm.
func FirstOrder(scaleMM float64, ends Ends, r, fretMM float64) float64 {
	return stiffstring.CentsPerNeper / scaleMM * (-ends.NutMM - ends.SaddleMM*(r-1) + r*fretMM)
}

// slopes are the derivatives of Deviation by NutMM, SaddleMM and the fret's place, cents a mm.
func slopes(scaleMM float64, ends Ends, r, fretMM float64) (nut, saddle, fret float64) {
	open := stiffstring.CentsPerNeper / (scaleMM + ends.SaddleMM - ends.NutMM)
	stopped := stiffstring.CentsPerNeper * r / (scaleMM + r*(ends.SaddleMM-fretMM))
	return -open, open - stopped, stopped
}

// Stiffness returns how much sharper than r times the open string's partial 1 that of the same
// string is when stopped at 1/r of its length, or touched for harmonic r, in cents: inharmonicity
// grows with 1/L², so B becomes B·r², and
//
//	600·log2( (1 + B·r²) / (1 + B) )
//
// Source: H. Fletcher, J. Acoust. Soc. Am. 36, 1964 (from memory).
func Stiffness(b, r float64) float64 {
	return stiffstring.StretchCents(b, r)
}

// A Press describes how a string is pressed to a fret.
type Press struct {
	ElasticN float64 // E·A: Young's modulus times the area of the core, N
	TensionN float64
	ScaleMM  float64
}

// Sharpness returns how much pressing down by heightMM at fromNutMM from the nut raises the
// tension, in cents of pitch:
//
//	600·log2(1 + (E·A/T)·ΔL/L),  ΔL = h²/2·(1/x + 1/(L−x))
//
// to first order in h/x, without friction at nut and saddle. Derived from Hooke's law.
func (p Press) Sharpness(fromNutMM, heightMM float64) float64 {
	stretch := heightMM * heightMM / 2 * (1/fromNutMM + 1/(p.ScaleMM-fromNutMM))
	return stiffstring.CentsPerNeper / 2 * math.Log1p(p.ElasticN/p.TensionN*stretch/p.ScaleMM)
}

// A Move is how far to move nut and saddle, mm, positive away from the head for both: a nut move
// towards the saddle, a saddle move back.
type Move struct {
	NutMM    float64 `json:"nut_mm"`
	SaddleMM float64 `json:"saddle_mm"`
}

// MoveFor returns the move that puts two notes right, of ratios r1 and r2 and c1 and c2 cents
// sharp, where the sharpness stays with the note whatever is moved (as that from pressing does):
//
//	R·(L − dN + dS) = L + r·dS,  R = 2^(c/1200), for both notes
//
// It returns false where the two ratios do not tell the ends apart.
func MoveFor(scaleMM, r1, c1, r2, c2 float64) (Move, bool) {
	// −R·dN + (R − r)·dS = L·(1 − R)
	a, e := math.Exp2(c1/1200), math.Exp2(c2/1200)
	det := -a*(e-r2) + e*(a-r1)
	if math.Abs(det) < 1e-9 {
		return Move{}, false
	}
	p, q := scaleMM*(1-a), scaleMM*(1-e)
	return Move{
		NutMM:    (p*(e-r2) - q*(a-r1)) / det,
		SaddleMM: (-a*q + e*p) / det,
	}, true
}

// SaddleMoveFor is MoveFor with the nut left alone: dS = L·(R−1)/(r−R).
func SaddleMoveFor(scaleMM, r, cents float64) float64 {
	sharp := math.Expm1(cents / stiffstring.CentsPerNeper)
	return scaleMM * sharp / (r - 1 - sharp)
}
