package tension

import (
	"math"

	"tunerd/internal/targets"
)

// Bounds of the tension that a string is played at, in N. Common practice, no source: below the
// lower a string flaps and is pulled sharp by every touch, above the upper neither hand nor neck
// is made for it.
const (
	SlackN = 15
	HeavyN = 400
)

// Limit is the part of its breaking limit up to which a string is tuned, by whatever road its target was
// set. Common practice, no source: makers stay below three quarters.
const Limit = 0.75

// A Load is what pulls at a string in tune, and what follows from it. What is not known is NaN.
type Load struct {
	TensionN  float64
	StressMPa float64 // tension over the cross-section that bears it
	LimitMPa  float64 // at which the material breaks, the least to be counted on
	AtMost    bool    // LimitMPa is that of the thinnest wire, as the diameter is not known
	Source    string  // of LimitMPa
	Missing   string  // why Part is not known; "": it is known
	B         float64 // inharmonicity from the string's data
}

// Part returns the stress as part of the breaking limit; NaN if either is not known.
func (l Load) Part() float64 { return l.StressMPa / l.LimitMPa }

// CentsToPart returns by how many cents the string may rise until it bears that part of its
// breaking limit, below 0 if it bears more; +Inf if that is not known. Tension grows with the
// square of the pitch.
func (l Load) CentsToPart(part float64) float64 { return centsTo(part, l.Part()) }

// CentsToTension is CentsToPart for a tension in N.
func (l Load) CentsToTension(newtons float64) float64 { return centsTo(newtons, l.TensionN) }

func centsTo(limit, now float64) float64 {
	if math.IsNaN(now) {
		return math.Inf(1)
	}
	return 600 * math.Log2(limit/now)
}

// Tension returns the tension in N of a string with a linear density (kg/m), scale length (m) and
// partial 1 (Hz):
//
//	T = μ·(2·L·f1)²
//
// The string is taken as perfectly flexible; a stiff one with inharmonicity B sounds sharper by
// √(1+B), so T is then too high by the factor 1+B, which is below 1.001 on guitars and basses.
//
// Source: N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 2nd ed., ch. 2
// (from memory).
func Tension(linearDensity, scaleM, f1Hz float64) float64 {
	v := 2 * scaleM * f1Hz
	return linearDensity * v * v
}

// Inharmonicity returns B of f_k = k·f0·√(1+B·k²) of a plain string on pinned ends, from Young's
// modulus (Pa), diameter (m), tension (N) and scale length (m):
//
//	B = π³·E·d⁴ / (64·T·L²)
//
// Source: H. Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), from memory; R. W. Young, J. Acoust.
// Soc. Am. 24, 267 (1952) has the same law in cents.
func Inharmonicity(youngPa, diameterM, tensionN, scaleM float64) float64 {
	d2 := diameterM * diameterM
	return math.Pow(math.Pi, 3) * youngPa * d2 * d2 / (64 * tensionN * scaleM * scaleM)
}

// Of returns the load of a string whose partial 1 is at f1Hz.
//
// Tension needs the scale length and LinearDensity.
// Stress needs only scale length and material of a plain string: it is ρ·(2·L·f1)² whatever the
// gauge. On a wound string the core bears the tension, so its stress is known if CoreMM is. The
// diameter that bears chooses the limit of wire; without one it is that of the thinnest wire,
// which is the strongest, and the part of it is the least that it can be.
//
// B needs tension and that diameter, and a metal: the moduli of nylon and gut depend on the pull.
// Of a wound string it is a lower bound, as the winding is somewhat stiff too.
func Of(s *targets.InstrumentString, f1Hz float64) Load {
	l := Load{TensionN: nan, StressMPa: nan, LimitMPa: nan, B: nan}
	if s.ScaleLengthMM == 0 {
		l.Missing = "its scale length is not given"
		return l
	}
	scaleM := s.ScaleLengthMM / 1000
	m, core, wound, ok := materialOf(s)
	bearingM, plain := s.GaugeMM/1000, ok && !wound
	if wound {
		bearingM = s.CoreMM / 1000
	}
	area := math.Pi / 4 * bearingM * bearingM
	l.TensionN = Tension(LinearDensity(s), scaleM, f1Hz)
	switch {
	case ok && area > 0:
		l.StressMPa = l.TensionN / area / 1e6
	case plain:
		l.StressMPa = Tension(m.density, scaleM, f1Hz) / 1e6 // density is the linear density of 1 m²
	}
	switch {
	case !ok:
		l.Missing = "its material is not given"
	case m.source == "":
		l.Missing = "no published strength of " + string(core) + " strings is known"
	case math.IsNaN(l.StressMPa) && area == 0:
		l.Missing = "core_mm is not given"
	case math.IsNaN(l.StressMPa):
		l.Missing = "linear_density_kg_m is not given, nor gauge_mm and a metal of its winding"
	default:
		l.LimitMPa, l.Source, l.AtMost = m.limit(bearingM*1000), m.source, area == 0
		if math.IsNaN(l.LimitMPa) {
			l.Source, l.Missing = "", "no published strength of "+string(core)+" of that diameter is known"
		}
	}
	if ok && area > 0 && m.youngPa > 0 {
		l.B = Inharmonicity(m.youngPa, bearingM, l.TensionN, scaleM)
	}
	return l
}

// B returns the inharmonicity of an open string whose partial 1 is at f1Hz: that of the
// instrument, else that of the string's data, else NaN. B falls as tension rises, as 1/f1², so
// the instrument's, which holds at the pitch of its file, is converted.
func B(s *targets.InstrumentString, f1Hz float64) float64 {
	if s.Inharmonicity > 0 {
		given := s.Open.Hz * math.Exp2(-s.DetuneCents/1200)
		return s.Inharmonicity * (given / f1Hz) * (given / f1Hz)
	}
	return Of(s, f1Hz).B
}

// guessedCore is the core of a wound steel string as part of its diameter, where it is not given. Common
// practice, no source: 0.4 to 0.5.
const guessedCore = 0.45

// AxialStiffness returns E·A in N of what bears the tension of a string, NaN if material or gauge are not
// given, and whether it is an estimate: the core of a wound string is not given, or the modulus of the
// material is only roughly known.
func AxialStiffness(s *targets.InstrumentString) (newtons float64, estimated bool) {
	m, core, wound, ok := materialOf(s)
	if !ok {
		return nan, false
	}
	young := m.youngPa
	if young == 0 {
		young, estimated = roughYoungPa[core], true
	}
	bearing := s.GaugeMM
	if wound {
		if bearing = s.CoreMM; bearing == 0 {
			bearing, estimated = guessedCore*s.GaugeMM, true
		}
	}
	if bearing == 0 {
		return nan, false
	}
	return young * math.Pi / 4 * bearing * bearing / 1e6, estimated
}
