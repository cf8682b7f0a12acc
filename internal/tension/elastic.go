package tension

import (
	"math"

	"tunerd/internal/targets"
)

// An Elasticity says how much the tension of a string grows when it is stretched.
type Elasticity struct {
	Ratio  float64 // E·A/T: a stretch of 1/1000 of its length raises the tension by Ratio/1000 of itself
	Spread float64 // standard error of ln Ratio
	Known  bool    // from the string's data; false: AnyElasticity
}

// Figures of Elastic.
const (
	// Young's modulus of a steel in the trade's data sheets is 190 to 207 GPa.
	steelSpread = 0.05
	// How far the winding stiffens a core along its length, and how exact cores are given. No source.
	coreSpread = 0.12
	// The core of a wound string as part of its gauge, where the file does not give it: 0.39 to 0.55.
	// Common practice, no source.
	coreShare, coreShareSpread = 0.45, 0.35
	// E·A/T of 36 nylon and fluorocarbon strings of classical guitars, plain and wound, measured by
	// stretching: 44 to 111, geometric mean 54 (M. B. Anderson and R. G. Beausoleil, J. Acoust. Soc.
	// Am. 156, 2024; see testdata). It hardly depends on pitch and gauge, as their modulus grows with
	// the pull.
	plasticRatio, plasticSpread = 54, 0.25
)

// AnyElasticity is for a string of which nothing is known: between nylon and the core of a wound
// steel string.
var AnyElasticity = Elasticity{Ratio: 150, Spread: 0.8}

// Elastic returns E·A/T of a string whose partial 1 is at f1Hz, where A is the section that bears
// the tension. For plain steel it is E/(ρ·(2·L·f1)²), whatever the gauge.
func Elastic(s *targets.InstrumentString, f1Hz float64) Elasticity {
	m, core, wound, ok := materialOf(s)
	switch {
	case ok && (core == targets.Nylon || core == targets.Fluorocarbon):
		return Elasticity{plasticRatio, plasticSpread, true}
	case !ok || m.youngPa == 0 || s.ScaleLengthMM == 0:
		return AnyElasticity
	case !wound:
		v := 2 * s.ScaleLengthMM / 1000 * f1Hz
		return Elasticity{m.youngPa / (m.density * v * v), steelSpread, true}
	}
	tension := Of(s, f1Hz).TensionN
	coreMM, spread := s.CoreMM, coreSpread
	if coreMM == 0 {
		coreMM, spread = coreShare*s.GaugeMM, coreShareSpread
	}
	ratio := m.youngPa * math.Pi / 4 * coreMM * coreMM / 1e6 / tension
	if !(ratio > 0) {
		return AnyElasticity
	}
	return Elasticity{ratio, spread, true}
}
