package display

import (
	"fmt"
)

// A Pair names two strings whose beats are measured; empty: none are.
type Pair struct{ Lower, Upper string }

// A Beat is how two strings beat, as measured.
type Beat struct {
	Fresh bool // measured just now; a frame may show an older one again

	Lower, Upper string  // names of the notes; empty: nothing is measured
	Ratio        string  // of the partials that beat, such as "3/2"
	NearHz       float64 // where they lie
	BeatHz       float64 // beats a second, not negative
	SigmaHz      float64
	Cents        float64 // by how much the interval is wide, negative if narrow; its size if Side is unknown
	CentsSigma   float64
	Side         string  // "wide", "narrow", "pure", "unknown", "ambiguous"
	Turn         string  // which string to turn which way, in words
	Method       string  // how it was found
	OtherHz      float64 // what the other partials say of BeatHz if that is ambiguous; else NaN
	OtherSigma   float64
	LowerCents   float64
	UpperCents   float64 // of each string against the pitch expected of it; NaN: not heard apart
}

// String says it in a sentence.
func (b Beat) String() string {
	if b.Lower == "" {
		return ""
	}
	off := ""
	if b.Side == "wide" || b.Side == "narrow" {
		off = ", " + b.Interval()
	}
	or := ""
	if b.Side == "ambiguous" {
		or = fmt.Sprintf(" or %s ± %s", rounded(b.OtherHz, b.OtherSigma), Sigma(b.OtherSigma))
	}
	turn := ""
	if b.Turn != "" {
		turn = "; turn " + b.Turn
	}
	return fmt.Sprintf("%s-%s %s: %s ± %s%s beats a second%s%s", b.Lower, b.Upper, b.Ratio,
		rounded(b.BeatHz, b.SigmaHz), Sigma(b.SigmaHz), or, off, turn)
}

// Interval says which way the interval is off, and by how much.
func (b Beat) Interval() string {
	switch b.Side {
	case "wide", "narrow":
		return fmt.Sprintf("%s by %s cents", b.Side, rounded(max(b.Cents, -b.Cents), b.CentsSigma))
	case "pure":
		return "pure"
	}
	return "wide or narrow: not known"
}

// Rate writes beats a second with the digits that their uncertainty allows.
func Rate(beatHz, sigmaHz float64) string { return rounded(beatHz, sigmaHz) }

// rounded writes x with the decimals that its uncertainty leaves a meaning.
func rounded(x, sigma float64) string {
	return Fixed(x, Decimals(sigma, 2, 3))
}
