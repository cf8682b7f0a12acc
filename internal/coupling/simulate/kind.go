package simulate

import (
	"fmt"
	"math"

	"tunerd/internal/coupling"
)

// A Kind is a type of instrument: strings as they are thought to be, and the support they are on.
type Kind struct {
	Name    string
	Strings []coupling.String
	Support coupling.Support // true of it; a learner may be told another
	gives   []give
	reach   float64 // of a smooth support, in strings; 0: the gives are alike and tilt
}

// A give is a stiffness in N/mm; tilts says that it turns about the middle.
type give struct {
	stiffness float64
	tilts     bool
}

// limitCents is how far above its target a string may be pulled at any time in the simulations: from three
// quarters of what breaks it to about four fifths.
const limitCents = 66.0

const inchMM = 25.4

// wire returns E·A (N) and mass per length (kg/mm) of a plain steel string, or of a wound one with a core of
// that part of its diameter; steel as 200 GPa and 7.85e-6 kg/mm³, a winding filling 82 % of its ring. Common
// practice, no source.
func wire(diameterMM, core float64) (ea, mass float64) {
	area := func(d float64) float64 { return math.Pi / 4 * d * d }
	c := area(core * diameterMM)
	return 200e3 * c, 7.85e-6 * (c + 0.82*(area(diameterMM)-c))
}

// pullOf returns the tension in N of a mass per length (kg/mm), sounding length (mm) and pitch (Hz).
func pullOf(mass, soundingMM, hz float64) float64 {
	v := 2 * soundingMM * hz
	return mass * v * v * 1e-3
}

// steel returns strings of these gauges (inches), cores and pitches.
func steel(lengthMM, soundingMM float64, gauges, cores, hz []float64) []coupling.String {
	var all []coupling.String
	for i := range gauges {
		ea, mass := wire(gauges[i]*inchMM, cores[i])
		all = append(all, coupling.String{
			EA: ea, LengthMM: lengthMM, SoundingMM: soundingMM, TensionN: pullOf(mass, soundingMM, hz[i]),
			LimitCents: limitCents, Place: float64(i),
		})
	}
	return all
}

// line returns n numbers from a to b, evenly or in equal ratios.
func line(n int, a, b float64, ratio bool) []float64 {
	out := make([]float64, n)
	for i := range out {
		x := float64(i) / float64(n-1)
		out[i] = a + (b-a)*x
		if ratio {
			out[i] = a * math.Pow(b/a, x)
		}
	}
	return out
}

func sixStrings(lengthMM float64) []coupling.String {
	return steel(lengthMM, 648, []float64{.010, .013, .017, .026, .036, .046}, []float64{1, 1, 1, .52, .44, .40},
		[]float64{329.6, 246.9, 196, 146.8, 110, 82.4})
}

// Kinds returns the types that are simulated.
func Kinds() []Kind {
	banjo := steel(787, 667, []float64{.010, .010, .012, .016, .022}, []float64{1, 1, 1, 1, .5},
		[]float64{392, 293.7, 246.9, 196, 146.8})
	short := steel(620, 500, []float64{.010}, []float64{1}, []float64{392})
	banjo[0] = short[0]
	neck := steel(1000, 850, []float64{.23 / inchMM, .23 / inchMM, .28 / inchMM, .225 / inchMM}, []float64{1, 1, 1, 1}, make([]float64, 4))
	for i, n := range []float64{45, 45, 48, 50} {
		neck[i].TensionN = n
	}
	return []Kind{
		{"floating bridge", sixStrings(780), coupling.FloatingBridge, []give{{40, false}, {1500, true}}, 0},
		{"banjo", banjo, coupling.Banjo, []give{{180, false}, {1200, true}}, 0},
		{"harp, 22 nylon", harp(22), coupling.Harp, []give{{4000, false}, {440, false}}, math.Sqrt(66)},
		{"dulcimer, 30 courses", dulcimer(30, 1), coupling.Dulcimer, []give{{14000, false}, {9000, false}}, math.Sqrt(3.7 * 6.8)},
		{"dulcimer, 60 pegs", dulcimer(30, 2), coupling.Dulcimer, []give{{14000, false}, {9000, false}}, math.Sqrt(3.7 * 6.8)},
		{"long neck, 4 steel", neck, coupling.LongNeck, []give{{250, false}, {4000, true}}, 0},
		{"guitar, fixed bridge", sixStrings(760), coupling.FixedBridge, []give{{2500, false}, {20000, true}}, 0},
		{"rigid", sixStrings(760), coupling.Rigid, []give{{60000, false}, {400000, true}}, 0},
	}
}

// KindOf finds a kind by name.
func KindOf(name string) (Kind, error) {
	for _, k := range Kinds() {
		if k.Name == name {
			return k, nil
		}
	}
	return Kind{}, fmt.Errorf("no simulated instrument is called %q", name)
}

// harp returns n nylon strings over three octaves from C3; E 4 GPa, 1200 kg/m³ of bulk nylon.
func harp(n int) []coupling.String {
	pulls, sounding := line(n, 110, 45, false), line(n, 950, 135, true)
	all := make([]coupling.String, n)
	for i := range all {
		hz := 130.8 * math.Exp2(float64(i)*3/float64(n-1))
		area := pulls[i] / pullOf(1.2e-6, sounding[i], hz)
		all[i] = coupling.String{EA: 4e3 * area, LengthMM: sounding[i] + 15, SoundingMM: sounding[i], TensionN: pulls[i], LimitCents: limitCents, Place: float64(i)}
	}
	return all
}

// dulcimer returns n courses of two steel strings over three octaves from D3, as one string for both, or
// with a peg for each of them.
func dulcimer(n, pegs int) []coupling.String {
	sounding := line(n, 850, 180, true)
	var all []coupling.String
	for i := range n {
		hz := 146.8 * math.Exp2(float64(i)*3/float64(n-1))
		area := 90 / pullOf(7.85e-6, sounding[i], hz)
		share := 2 / float64(pegs)
		for range pegs {
			all = append(all, coupling.String{
				EA: share * 200e3 * area, LengthMM: sounding[i] + 60, SoundingMM: sounding[i], TensionN: share * 90,
				LimitCents: limitCents, Place: float64(i),
			})
		}
	}
	return all
}

// On returns instruments with other strings on the support of a kind.
func (k Kind) On(strs []coupling.String) Kind {
	k.Strings = strs
	return k
}
