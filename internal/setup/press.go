package setup

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Shapes of the neck and the hand that pressing depends on. Common practice, no source.
const (
	bodyAt     = 0.55 // the neck is bowed from the nut to here, as part of the scale: fret 14 of twelve to the octave
	actionMM   = 2.0  // height of the string over the middle of the scale
	actionSD   = 0.4
	fingerMM   = 5.0 // behind the wire, where the finger presses
	fingerSD   = 2.5
	cutMM      = 0.1 // between the heights of the slots of one nut
	leastCutMM = 0.2 // height from which a slot's own effect on other terms is reckoned
)

// endStiffness is α of the factor 1 + α·β by which a string sounds sharper for the stiffness of its
// ends, β = √B/π: 0 for pinned ends, 2 for clamped ones. 1.1 ± 0.2 was measured on five guitars (M. B.
// Anderson and R. G. Beausoleil, J. Acoust. Soc. Am. 156, 2024).
const endStiffness = 1.1

// A body is one string as it is pressed and sounds.
type body struct {
	scaleMM   float64
	b         float64 // inharmonicity of the open string
	elastic   float64 // E·A/T
	heightMM2 float64 // square of the height of the bottom of the nut's slot above the plane of the frets
	actionMM  float64 // height of the string over the middle of the scale
	reliefMM  float64 // of the neck
	fingerMM  float64 // behind the wire
}

// A stop is a fret as the string is pressed to it.
type stop struct {
	ratio float64
	gapMM float64 // to the fret below, or the nut
	offMM float64 // how far the fret stands off its place, towards the saddle
}

// heights returns those of the string above the plane of the frets at nut and saddle.
func (p *body) heights() (nut, saddle float64) {
	nut = math.Sqrt(max(p.heightMM2, leastCutMM*leastCutMM))
	return nut, 2*p.actionMM - nut
}

// felt returns by how much the ends stand further forward, as the string feels them, than they are:
// what pressing and the stiffness of the ends do to the notes has, to first order, the shapes 1 and
// r−1 of a nut and a saddle elsewhere. No reading can tell these from those.
func (p *body) felt() Ends {
	h0, hs := p.heights()
	return Ends{
		NutMM:    -p.elastic * h0 * hs / (2 * p.scaleMM),
		SaddleMM: -(p.scaleMM*endStiffness*math.Sqrt(p.b)/math.Pi + p.elastic*hs*hs/(4*p.scaleMM)),
	}
}

// sharpness returns how far a note lies off its place above the open string, in cents, with nut and
// saddle where the string feels them:
//
//	(1200/ln 2)·ln( length/sounding · (1 + αβr + (1+π²/2)·(βr)²)/(1 + αβ + (1+π²/2)·β²) · √(1 + (E·A/T)·ΔL/L) ) − 1200·log2(r)
//
// with r = length/sounding, and ΔL the sum of what the heights h0 and hs of
// nut and saddle add,
//
//	h0²/2·(1/(x−d) − 1/L) + hs²/2·(1/(L−x) − 1/L) + h0·hs/L
//
// and of what a fret adds that lies ρ·b(x) below the plane because the neck is bowed, b a parabola
// from the nut to the body of the instrument,
//
//	(2·h0·ρ·b + (ρ·b)²)/(2x) + (2·hs·ρ·b + (ρ·b)²)/(2·(L−x)).
//
// Stiffness is as in the source of endStiffness, where tension lowers β; stretch by Hooke's law to first order in height
// over length. The finger presses d behind the wire, or in the middle where frets are close. The
// tests have the exact geometry.
func (p *body) sharpness(ends Ends, s stop) float64 {
	felt := p.felt()
	ends.NutMM -= felt.NutMM
	ends.SaddleMM -= felt.SaddleMM
	length := p.scaleMM + ends.SaddleMM - ends.NutMM
	place := p.scaleMM * (s.ratio - 1) / s.ratio
	sounding := max(p.scaleMM/s.ratio+ends.SaddleMM-s.offMM, 0.01*p.scaleMM)
	x := max(place+s.offMM-ends.NutMM, 0.1*place)

	behind := min(p.fingerMM, s.gapMM/2, 0.9*x)
	h0, hs := p.heights()
	stretch := p.heightMM2/2*(1/(x-behind)-1/p.scaleMM) + hs*hs/2*(1/sounding-1/p.scaleMM) + h0*hs/p.scaleMM
	if u := place / (bodyAt * p.scaleMM); u < 1 {
		bow := p.reliefMM * 4 * u * (1 - u)
		stretch += (2*h0*bow+bow*bow)/(2*x) + (2*hs*bow+bow*bow)/(2*sounding)
	}
	elastic := p.elastic * p.scaleMM * p.scaleMM / (length * length) // at the same pitch a longer string is tighter
	tension := max(elastic*stretch/p.scaleMM, -0.5)

	stiff := func(r, tension float64) float64 {
		br := math.Sqrt(p.b/tension) / math.Pi * r
		return endStiffness*br + (1+math.Pi*math.Pi/2)*br*br
	}
	r := length / sounding
	return stiffstring.CentsPerNeper*(math.Log(r/s.ratio)+math.Log1p(stiff(r, 1+tension))-math.Log1p(stiff(1, 1))) + stiffstring.CentsPerNeper/2*math.Log1p(tension)
}

// nutSharpness is the part of sharpness that comes from the height of the nut over a fret in its
// place.
func (p *body) nutSharpness(s stop) float64 {
	low := *p
	low.heightMM2 = 0
	return p.sharpness(p.felt(), s) - low.sharpness(low.felt(), s)
}

// stop returns fret k (from 0) of a string.
func (s *String) stop(k int) stop {
	below := 0.0
	if k > 0 {
		below = s.placeOf(k - 1)
	}
	return stop{ratio: s.Frets[k].Ratio(), gapMM: max(s.placeOf(k)-below, 0.5)}
}

// placeOf is where fret k (from 0) belongs, mm from the nut.
func (s *String) placeOf(k int) float64 { return s.ScaleMM * (1 - 1/s.Frets[k].Ratio()) }
