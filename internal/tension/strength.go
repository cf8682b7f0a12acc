package tension

import (
	"math"
	"sort"
)

var nan = math.NaN()

// A strength is the least tensile strength of wire of a diameter, or up to it.
type strength struct{ mm, mpa float64 }

func notKnown(float64) float64 { return nan }

func always(mpa float64) func(float64) float64 {
	return func(float64) float64 { return mpa }
}

// between reads a table of diameters, between its rows in proportion. What is thinner or thicker than all
// of them counts as the first or last; diameter 0, not known, gives the first, the strongest.
func between(table []strength) func(float64) float64 {
	return func(mm float64) float64 {
		i := sort.Search(len(table), func(i int) bool { return table[i].mm >= mm })
		switch {
		case i == 0:
			return table[0].mpa
		case i == len(table):
			return table[i-1].mpa
		}
		a, b := table[i-1], table[i]
		return a.mpa + (b.mpa-a.mpa)*(mm-a.mm)/(b.mm-a.mm)
	}
}

// upTo reads a table whose rows hold up to their diameter, that included. Of what is thicker than all of
// them nothing is known; diameter 0 gives the first, the strongest.
func upTo(table []strength) func(float64) float64 {
	return func(mm float64) float64 {
		const rounding = 1e-4 // mm; inches are converted to four decimals
		i := sort.Search(len(table), func(i int) bool { return table[i].mm >= mm-rounding })
		if i == len(table) {
			return nan
		}
		return table[i].mpa
	}
}

// musicWire is the least tensile strength of music wire by diameter. Source: ASTM A228, as
// printed by a maker of wire (Interwire Group) in inches and ksi; 1 ksi = 6.894757 MPa.
var musicWire = []strength{
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

// stainlessWire is the least tensile strength of stainless steel wire 302 up to a diameter. Source: ASTM
// A313, as printed by the same maker. The row up to 0.3302 mm is printed with 324 ksi, more than the one
// before it; 314 is taken, as the steps of its neighbours have it.
var stainlessWire = []strength{
	{0.2286, 2240.8}, {0.2540, 2206.3}, {0.2794, 2192.5}, {0.3048, 2178.7}, {0.3302, 2165.0},
	{0.3556, 2151.2}, {0.3810, 2137.4}, {0.4064, 2123.6}, {0.4318, 2109.8}, {0.4572, 2096.0},
	{0.5080, 2068.4}, {0.5588, 2040.8}, {0.6096, 2013.3}, {0.6604, 2006.4}, {0.7112, 1992.6},
	{0.7874, 1965.0}, {0.8636, 1944.3}, {0.9398, 1930.5}, {1.0414, 1896.1}, {1.1430, 1875.4},
	{1.2700, 1840.9}, {1.3716, 1827.1}, {1.4732, 1799.5}, {1.6002, 1778.8}, {1.7780, 1737.5},
	{1.9050, 1723.7}, {2.0320, 1696.1},
}

// phosphorBronzeWire is the same of phosphor bronze wire C51000 of spring temper (H08). Source: ASTM B159
// as printed by the same maker: 145 ksi up to 0.025 in, 135 to 0.0625 in, 130 to 0.125 in.
var phosphorBronzeWire = []strength{{0.6350, 999.7}, {1.5875, 930.8}, {3.1750, 896.3}}
