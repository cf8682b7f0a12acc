package tension

import "tunerd/internal/targets"

// A material is what is known of what bears tension. NaN is not known.
type material struct {
	density float64 // kg/m³
	youngPa float64 // 0: no single figure
	limit   func(diameterMM float64) float64
	source  string // of limit; empty where limit is not known
}

// materials are the cores that there are. Where the numbers come from:
//
// Steel: Young's modulus is that in R. W. Young's constant (J. Acoust. Soc. Am. 24, 267, 1952),
// E/ρ = 25.5·10⁶ m²/s², at 7850 kg/m³; a data sheet of ASTM A228 wire has 206.8 GPa and 7861 kg/m³,
// another 190 GPa. B is proportional to it.
//
// Stainless steel 302/304 (ASTM A313) and phosphor bronze (ASTM B159): 28·10⁶ psi and 0.286 lb/in³,
// 15·10⁶ psi and 0.320 lb/in³, from a data sheet of spring materials.
//
// Gut: makers give the highest f·L that a string bears, whatever its gauge: σ = ρ·(2·f·L)², 260 Hz·m on
// average, 240 to 280 measured (Aquila, "What is the FL product or breaking index?"). The density, from
// memory, falls out of the part of the limit.
//
// Sterling silver: 490 MPa, from the worked example of a wire-strung harp (wirestrungharp.com), whose
// 108.5 Hz·m the density, from memory, gives back. Brass: density of C23000 from the same place, which
// has its yield, not its strength.
//
// Nylon and fluorocarbon: no limit of drawn strings was found in print, and that of the bulk plastic is
// below what strings are tuned to. Their densities are means of 12 and 6 plain treble strings that were
// weighed (M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156, 683, 2024): 938 to 1017 and 1588 to
// 1623 kg/m³. Their moduli, and gut's, depend on the pull.
var materials = map[targets.Core]material{
	targets.Steel:          {7850, 200.2e9, between(musicWire), "ASTM A228 music wire, least tensile strength"},
	targets.StainlessSteel: {7916, 193.1e9, upTo(stainlessWire), "ASTM A313 stainless steel 302 wire, least tensile strength"},
	targets.PhosphorBronze: {8858, 103.4e9, upTo(phosphorBronzeWire), "ASTM B159 phosphor bronze wire C51000 H08, least tensile strength"},
	targets.Brass:          {8750, 0, notKnown, ""},
	targets.Silver:         {10370, 0, always(490), "sterling silver, 490 MPa in a harp maker's worked example"},
	targets.Nylon:          {972, 0, notKnown, ""},
	targets.Fluorocarbon:   {1610, 0, notKnown, ""},
	targets.Gut:            {1300, 0, always(1300 * 4 * 260 * 260 / 1e6), "gut, 260 Hz·m on average of makers' tests, 240 to 280"},
	targets.Synthetic:      {nan, 0, notKnown, ""},
}

// roughYoungPa are moduli of materials that have no single one: plain nylon and fluorocarbon treble strings
// stretch as 3.7 GPa and more, the harder the more they are pulled (M. B. Anderson & R. G. Beausoleil, J.
// Acoust. Soc. Am. 156, 683, 2024); gut, synthetic, brass and silver are from memory.
var roughYoungPa = map[targets.Core]float64{
	targets.Brass: 100e9, targets.Silver: 75e9, targets.Nylon: 4e9, targets.Fluorocarbon: 4e9, targets.Gut: 6e9, targets.Synthetic: 5e9,
}

// materialOf finds the material of a string, or of the core of a wound one. The cores of guitar and bass
// strings are taken as music wire unless they are said to be another.
func materialOf(s *targets.InstrumentString) (m material, core targets.Core, wound, ok bool) {
	given, err := targets.ParseMaterial(s.Material)
	if err != nil || given.Core == "" {
		return material{}, "", s.CoreMM > 0, false
	}
	return materials[given.Core], given.Core, given.Wound || s.CoreMM > 0, true
}
