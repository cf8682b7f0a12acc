package tension

import (
	"errors"
	"fmt"
	"math"

	"tunerd/internal/targets"
)

// Gauges that strings are made in. Common practice, no source.
const (
	gaugeStepMM = 0.0254 // steel strings are sold by thousandths of an inch
	thinnestMM  = 0.178  // .007 in
	// A plain steel string thicker than .020 in is stiff enough to sound out of tune with itself; from there on
	// strings are wound.
	thickestPlainMM = 0.508
	thickestMM      = 3.556 // .140 in
	thinnestWireMM  = 0.08  // of a winding
	// The core of a wound string grows with its gauge: .014 in of .026, .018 of .046, some .030 of .105.
	coreBaseMM, coreShareOfGauge = 0.2235, 0.2
	// Plain nylon, fluorocarbon and gut are sold by hundredths of a mm up to about this.
	plasticStepMM, thickestPlasticMM = 0.01, 1.3
)

// A Proposal is a string for a wanted tension.
type Proposal struct {
	targets.InstrumentString         // with gauge, core, linear density and material as proposed
	WantedKgM                float64 // linear density that has exactly that tension
	Load                     Load
	Why                      string // no gauge is proposed: why; "": one is
}

// Propose returns for a string of that material the gauge nearest to a wanted tension in N at its pitch and
// length, plain where that is usual and wound beyond. Plain or wound, what pulls is ρ·(2·L·f)² of stress at
// least: where that is beyond Limit no gauge helps, and Why says what would. Of a winding or a core that is
// no metal only the linear density is told, by which a maker's chart is read.
func Propose(s *targets.InstrumentString, newtons float64, material targets.Material) (Proposal, error) {
	p := Proposal{InstrumentString: *s, WantedKgM: nan}
	p.GaugeMM, p.CoreMM, p.LinearDensity, p.Inharmonicity = 0, 0, 0, 0
	if !(newtons > 0) || math.IsInf(newtons, 0) {
		return p, fmt.Errorf("a tension of %g N is not above 0", newtons)
	}
	if s.ScaleLengthMM == 0 {
		return p, errors.New("its scale length is not given")
	}
	m, ok := materials[material.Core]
	if !ok || math.IsNaN(m.density) {
		return p, fmt.Errorf("no gauge can be told of %s: its density is not known", material.Core)
	}
	p.WantedKgM = newtons / Tension(1, s.ScaleLengthMM/1000, s.Open.Hz)
	p.Material = "plain " + string(material.Core)
	p.Load = Of(&p.InstrumentString, s.Open.Hz)
	if p.Load.Beyond() {
		cents := p.Load.CentsToPart(Limit)
		p.Why = fmt.Sprintf("no %s holds it: %s of its breaking limit whatever the gauge; tune it %.0f cents lower, or make it %.0f mm long",
			material.Core, p.Load.PartWords(), -cents, s.ScaleLengthMM*math.Exp2(cents/1200))
		return p, nil
	}
	if m.youngPa == 0 {
		p.plastic(m)
	} else {
		p.metal(m, material)
	}
	if p.Why == "" {
		p.Load = Of(&p.InstrumentString, s.Open.Hz)
	}
	return p, nil
}

func plainGauge(m material, kgM float64) float64 { return math.Sqrt(4*kgM/(math.Pi*m.density)) * 1000 }

// plastic proposes a plain string of nylon, fluorocarbon, gut or a soft metal.
func (p *Proposal) plastic(m material) {
	gauge := math.Round(plainGauge(m, p.WantedKgM)/plasticStepMM) * plasticStepMM
	if gauge > thickestPlasticMM || gauge < thinnestMM {
		p.Why = fmt.Sprintf("a plain one would be %.2f mm thick; take a wound one of %.3g g/m by its maker's chart", gauge, p.WantedKgM*1000)
		return
	}
	p.GaugeMM = gauge
}

// metal proposes a plain wire, or a core with a winding.
func (p *Proposal) metal(m material, material targets.Material) {
	gauge := math.Round(plainGauge(m, p.WantedKgM)/gaugeStepMM) * gaugeStepMM
	switch {
	case gauge < thinnestMM:
		p.Why = fmt.Sprintf("a plain one would be %.3f mm thick, thinner than strings are made; ask for more tension", gauge)
		return
	case gauge <= thickestPlainMM+1e-9:
		p.plainWire(gauge)
		return
	}
	if material.Winding == "" {
		material.Winding = "nickel plated steel"
	}
	winding, known := windings[material.Winding]
	if !known {
		p.Why = fmt.Sprintf("the density of a winding of %s is not known; take one of %.3g g/m by its maker's chart", material.Winding, p.WantedKgM*1000)
		return
	}
	p.Material = material.Winding + " wound " + string(material.Core)
	p.wind(m, winding)
}

// plainWire takes a gauge, or the next thinner one that holds: thin wire is the stronger for its section, so
// that a string at its limit has less tension than wanted.
func (p *Proposal) plainWire(gauge float64) {
	for ; gauge >= thinnestMM-1e-9; gauge -= gaugeStepMM {
		p.GaugeMM = gauge
		if !Of(&p.InstrumentString, p.Open.Hz).Beyond() {
			return
		}
	}
	part := Of(&p.InstrumentString, p.Open.Hz).PartWords()
	p.GaugeMM = 0
	p.Why = fmt.Sprintf("the thinnest, of %.3f mm, would bear %s of its breaking limit; tune it lower, or make it shorter", thinnestMM, part)
}

// wind finds the gauge whose winding makes the linear density, and a core that holds it. The linear density
// grows with the gauge, since gauge and winding grow together.
func (p *Proposal) wind(m material, winding float64) {
	of := func(gauge float64) float64 { return Wound(m.density, winding, coreOf(gauge)/1000, gauge/1000) }
	first, last := int(math.Ceil(coreBaseMM/gaugeStepMM)), int(thickestMM/gaugeStepMM)
	best, off := 0.0, math.Inf(1)
	for n := first; n <= last; n++ {
		gauge := float64(n) * gaugeStepMM
		if (gauge-coreOf(gauge))/2 < thinnestWireMM {
			continue
		}
		if d := math.Abs(math.Log(of(gauge) / p.WantedKgM)); d < off {
			best, off = gauge, d
		}
	}
	const farthest = 0.1 // as a logarithm: half a step of the thinnest wound strings changes them by less
	if off > farthest {
		p.Why = fmt.Sprintf("it would need %.3g g/m, more than strings up to %.2f mm have; ask for less tension", p.WantedKgM*1000, thickestMM)
		return
	}
	p.GaugeMM, p.CoreMM = best, coreOf(best)
	if Of(&p.InstrumentString, p.Open.Hz).Beyond() {
		p.Why = fmt.Sprintf("a wound one would bear %s of its breaking limit; ask for less tension", Of(&p.InstrumentString, p.Open.Hz).PartWords())
		p.GaugeMM, p.CoreMM = 0, 0
	}
}

func coreOf(gaugeMM float64) float64 {
	return math.Round((coreBaseMM+coreShareOfGauge*gaugeMM)/gaugeStepMM) * gaugeStepMM
}

// NotKnown says of proposals of whose strength nothing is known why, each reason once.
func NotKnown(all []Proposal) []string {
	var reasons []string
	of := map[string][]int{}
	for _, p := range all {
		if why := p.Load.Missing; p.Why == "" && why != "" {
			if of[why] == nil {
				reasons = append(reasons, why)
			}
			of[why] = append(of[why], p.Open.String)
		}
	}
	for i, why := range reasons {
		reasons[i] = fmt.Sprintf("%s: how near to breaking is not known, as %s", StringList(of[why]), why)
	}
	return reasons
}
