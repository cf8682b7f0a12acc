package tension

import (
	"sort"
	"strings"

	"tunerd/internal/targets"
)

// A material that bears tension.
type material struct {
	word    string  // by which it is known in an instrument file
	density float64 // kg/m³
	youngPa float64 // 0: no single figure
	limit   func(gaugeMM float64) float64
	source  string
}

// Young's modulus of steel is that in R. W. Young's constant (J. Acoust. Soc. Am. 24, 267, 1952),
// E/ρ = 25.5·10⁶ m²/s², at 7850 kg/m³. A data sheet of ASTM A228 wire (makeitfrom.com) has 190 GPa;
// B is proportional to it.
//
// The breaking limits of gut and nylon are given in the trade as the highest f·L that a string
// bears, here 245 and 265 Hz·m: σ = ρ·(2·f·L)². Figures from memory, no source read.
var materials = []material{
	{"steel", 7850, 200.2e9, steelLimit, "ASTM A228 music wire, least tensile strength"},
	{"nylon", 1070, 0, func(float64) float64 { return 1070 * 4 * 265 * 265 / 1e6 }, "265 Hz·m, from memory"},
	{"gut", 1300, 0, func(float64) float64 { return 1300 * 4 * 245 * 245 / 1e6 }, "245 Hz·m, from memory"},
}

// materialOf finds the material of a string, or of the core of a wound one, in its description.
func materialOf(s *targets.InstrumentString) (m material, wound, ok bool) {
	words := strings.Fields(strings.ToLower(s.Material))
	wound = s.CoreMM > 0
	for _, w := range words {
		wound = wound || strings.HasSuffix(w, "wound")
	}
	for _, m := range materials {
		for _, w := range words {
			if w == m.word {
				return m, wound, true
			}
		}
	}
	return material{}, wound, false
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
