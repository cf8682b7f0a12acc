package fretboard

import (
	"math"
	"sort"
	"strings"

	"tunerd/internal/targets"
)

// Bounds of the tension that a string is played at, in N. Common practice, no source: below the
// lower a string flaps and is pulled sharp by every touch, above the upper neither hand nor neck
// is made for it.
const (
	slackN = 15
	heavyN = 400
)

// Shares of the breaking limit. Common practice, no source: makers stay below three quarters.
const (
	nearBreaking = 0.75
	overStressed = 0.9
)

// A Load is what pulls at a string in tune. What is not known is NaN.
type Load struct {
	TensionN  float64
	StressMPa float64 // tension over the cross-section
	LimitMPa  float64 // at which the material breaks, the least to be counted on
	Source    string  // of LimitMPa
}

// Share returns the stress as part of the breaking limit; NaN if either is not known.
func (l Load) Share() float64 { return l.StressMPa / l.LimitMPa }

// Tension returns the tension in N of a string with a unit weight (kg/m), scale length (m) and
// fundamental (Hz):
//
//	T = μ·(2·L·f)²
//
// The string is taken as perfectly flexible; a stiff one with inharmonicity B sounds sharper by
// √(1+B), so T is then too high by the factor 1+B.
//
// Source: N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 2nd ed., ch. 2
// (from memory).
func Tension(unitWeight, scaleM, hz float64) float64 {
	v := 2 * scaleM * hz
	return unitWeight * v * v
}

// LoadOf returns the load of a string. Tension needs the unit weight, or gauge and material of a
// plain string. Stress needs only the material of a plain string: it is ρ·(2·L·f)² whatever the
// gauge. The core of a wound string bears its tension and is not known, so its stress is not
// told. Gauges choose the limit of steel; without one it is that of the thinnest wire, which is
// the strongest.
func LoadOf(s *targets.InstrumentString) Load {
	l := Load{TensionN: math.NaN(), StressMPa: math.NaN(), LimitMPa: math.NaN()}
	if s.ScaleLengthMM == 0 {
		return l
	}
	scaleM := s.ScaleLengthMM / 1000
	m, ok := plainMaterial(s.Material)
	if ok {
		l.StressMPa = Tension(m.density, scaleM, s.Open.Hz) / 1e6 // density is the unit weight of 1 m²
		l.LimitMPa, l.Source = m.limit(s.GaugeMM), m.source
	}
	area := math.Pi / 4 * s.GaugeMM * s.GaugeMM / 1e6 // m²
	switch {
	case s.UnitWeight > 0:
		l.TensionN = Tension(s.UnitWeight, scaleM, s.Open.Hz)
		if ok && area > 0 {
			l.StressMPa = l.TensionN / area / 1e6
		}
	case ok && area > 0:
		l.TensionN = l.StressMPa * 1e6 * area
	}
	return l
}

// A material of plain strings.
type material struct {
	word    string  // by which it is known in an instrument file
	density float64 // kg/m³
	limit   func(gaugeMM float64) float64
	source  string
}

// The breaking limits of gut and nylon are given in the trade as the highest f·L that a string
// bears, here 245 and 265 Hz·m: σ = ρ·(2·f·L)². Figures from memory, no source read.
var materials = []material{
	{"steel", 7850, steelLimit, "ASTM A228 music wire, least tensile strength"},
	{"nylon", 1070, func(float64) float64 { return 1070 * 4 * 265 * 265 / 1e6 }, "265 Hz·m, from memory"},
	{"gut", 1300, func(float64) float64 { return 1300 * 4 * 245 * 245 / 1e6 }, "245 Hz·m, from memory"},
}

// plainMaterial finds the material of a plain string in its description.
func plainMaterial(text string) (material, bool) {
	words := strings.Fields(strings.ToLower(text))
	for _, w := range words {
		if strings.HasSuffix(w, "wound") {
			return material{}, false
		}
	}
	for _, m := range materials {
		for _, w := range words {
			if w == m.word {
				return m, true
			}
		}
	}
	return material{}, false
}

// steelLimit returns the least tensile strength of music wire of a diameter, in MPa, between the
// rows of the table in proportion. Gauge 0, not known, gives that of the thinnest.
func steelLimit(gaugeMM float64) float64 {
	i := sort.Search(len(musicWire), func(i int) bool { return musicWire[i].mm >= gaugeMM })
	switch {
	case i == 0:
		return musicWire[0].mpa
	case i == len(musicWire):
		return musicWire[i-1].mpa
	}
	a, b := musicWire[i-1], musicWire[i]
	return a.mpa + (b.mpa-a.mpa)*(gaugeMM-a.mm)/(b.mm-a.mm)
}

// musicWire is the least tensile strength of music wire by diameter. Source: ASTM A228, as
// printed by a maker of wire (Interwire Group) in inches and ksi; 1 ksi = 6.894757 MPa.
var musicWire = []struct{ mm, mpa float64 }{
	{0.1016, 3026.8}, {0.1270, 2937.2}, {0.1524, 2861.3}, {0.1778, 2806.2}, {0.2032, 2751.0},
	{0.2286, 2709.6}, {0.2540, 2668.3}, {0.2794, 2633.8}, {0.3048, 2599.3}, {0.3302, 2571.7},
	{0.3556, 2544.2}, {0.3810, 2516.6}, {0.4064, 2495.9}, {0.4572, 2454.5}, {0.5080, 2413.2},
	{0.5588, 2378.7}, {0.6096, 2351.1}, {0.6604, 2323.5}, {0.7112, 2296.0}, {0.7620, 2275.3},
	{0.8128, 2254.6}, {0.8636, 2233.9}, {0.9144, 2213.2}, {0.9652, 2192.5}, {1.0160, 2171.8},
	{1.0668, 2158.1}, {1.1430, 2130.5}, {1.2192, 2109.8}, {1.2954, 2089.1}, {1.3970, 2068.4},
	{1.4986, 2040.8}, {1.6002, 2020.2}, {1.7018, 1999.5}, {1.8288, 1978.8}, {1.9304, 1958.1},
	{2.0320, 1944.3}, {2.2860, 1903.0}, {2.5400, 1868.5}, {3.1750, 1799.5}, {3.8100, 1744.4},
	{4.4958, 1689.2}, {5.2578, 1641.0}, {6.3500, 1585.8},
}
