package tension

import (
	"math"

	"tunerd/internal/targets"
)

// windings are densities of what strings are wound with, kg/m³: those of materials, plated steel taken as
// steel, and nickel, a handbook value from memory. What the trade calls silver or bronze is several alloys, or
// a plating, and is not told from its name.
var windings = map[string]float64{
	"steel": 7850, "nickel plated steel": 7850, "stainless steel": 7916, "phosphor bronze": 8858, "nickel": 8900,
}

// LinearDensity returns the linear density of a string in kg/m: what the file says, else that of a plain
// string by gauge and material, or of a wound one with a metal core by gauge, core and winding. NaN is not
// known.
func LinearDensity(s *targets.InstrumentString) float64 {
	if s.LinearDensity > 0 {
		return s.LinearDensity
	}
	m, _, wound, ok := materialOf(s)
	gauge, core := s.GaugeMM/1000, s.CoreMM/1000
	switch {
	case !ok || gauge == 0:
		return nan
	case !wound:
		return m.density * math.Pi / 4 * gauge * gauge
	}
	given, _ := targets.ParseMaterial(s.Material) // it has been read
	winding, known := windings[given.Winding]
	if !known || core == 0 || m.youngPa == 0 {
		return nan
	}
	return Wound(m.density, winding, core, gauge)
}

// Wound returns the linear density in kg/m of a string with a round core and one layer of round wire, wound
// turn beside turn, from the densities in kg/m³ of core and wire and the diameters in m of the core and the
// whole. The wire is d = (whole - core)/2 thick, and its axis is a helix of diameter D = core + d. Turns that
// touch lie d apart across the wire, so that a length of string takes π·D/d times its length of wire:
//
//	μ = ρ·π/4·core² + ρw·π/4·d²·π·D/d
//
// Strings with flat wire or several layers are heavier or lighter by some percent.
func Wound(coreDensity, windingDensity, coreM, wholeM float64) float64 {
	d := (wholeM - coreM) / 2
	return coreDensity*math.Pi/4*coreM*coreM + windingDensity*math.Pi*math.Pi/4*d*(coreM+d)
}
