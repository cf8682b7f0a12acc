package coupling

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// A String is what the model needs of one string.
type String struct {
	EA         float64 // axial stiffness of what bears tension, N
	LengthMM   float64 // between its anchors
	SoundingMM float64
	TensionN   float64 // in tune
	LimitCents float64 // above its target, up to which it may be pulled at any time; +Inf: no limit is known
	Place      float64 // along the support; strings of one course share it
}

// Stiffness returns k = E·A/l in N/mm.
func (s *String) Stiffness() float64 { return s.EA / s.LengthMM }

// heard returns m, the part of a tension's cents that is heard: a longer string is lighter by the length, and
// a support that gives shortens what sounds.
//
//	m = 1 − (T/E·A)·(2·l/s − 1)
func (s *String) heard() float64 { return 1 - s.TensionN/s.EA*(2*s.LengthMM/s.SoundingMM-1) }

// AxialStiffness returns E·A in N of a wire, from Young's modulus in GPa and the diameter in mm of what bears
// the tension: the wire itself, or the core of a wound string.
func AxialStiffness(youngGPa, diameterMM float64) float64 {
	return youngGPa * 1e3 * math.Pi / 4 * diameterMM * diameterMM
}

// A mode is one way in which a support gives: exp(logWeight)·shape, in mm/N.
type mode struct {
	shape     *mat.SymDense
	logWeight float64
	logSD     float64
}

// A Prior is what is believed of an instrument before anything was heard of it.
type Prior struct {
	Support Support
	Strings []String

	modes []mode
	// miss is the part of what a string loses by which the model is wrong at best. Tuned on simulated
	// instruments: without it the forecasts of a harp covered 69 to 78 % of the truth instead of 95.
	miss float64
}

// Standard deviations of what is believed of strings, in natural logarithms. The first is the spread of core
// diameters and moduli of strings sold alike, an estimate; tuned on nothing.
const (
	stiffnessSD = 0.16
	leverSD     = 0.04
)

// How far a type of support varies from one instrument to the next, as a logarithm: an estimate, since no
// measurements of it were found. That of a type that is not told spans all of them.
const (
	toldSD   = 0.8
	untoldSD = 2.2
)

// A Support is what the strings pull at.
type Support string

// The supports there are.
const (
	Untold         Support = "unknown"
	FloatingBridge Support = "floating-bridge"
	Banjo          Support = "banjo"
	Harp           Support = "harp"
	Dulcimer       Support = "dulcimer"
	LongNeck       Support = "long-neck"
	FixedBridge    Support = "fixed-bridge"
	Rigid          Support = "rigid" // does not give at all: the advice is the plain target
)

// A give is a stiffness in N/mm, and how it is shaped: a reach of 0 is alike, below 0 tilt, else that of a
// Beam in strings.
type give struct{ stiffness, reach float64 }

// supports are medians of what each type gives by. Estimates from how far such bridges, heads, boards and
// necks move under the load of their strings; no source has them. Two reaches hold what one board has.
var supports = map[Support][]give{
	Untold:         {{600, 0}, {10000, -1}},
	FloatingBridge: {{40, 0}, {1500, -1}},
	Banjo:          {{180, 0}, {1200, -1}},
	Harp:           {{4000, 0}, {880, 6}, {880, 11}},
	Dulcimer:       {{14000, 0}, {18000, 3.7}, {18000, 6.8}},
	LongNeck:       {{250, 0}, {4000, -1}},
	FixedBridge:    {{2500, 0}, {20000, -1}},
	Rigid:          nil,
}

// Supports lists the names of all supports.
func Supports() []Support {
	return []Support{Untold, FloatingBridge, Banjo, Harp, Dulcimer, LongNeck, FixedBridge, Rigid}
}

// ParseSupport finds a support by name.
func ParseSupport(name string) (Support, error) {
	if _, ok := supports[Support(name)]; ok {
		return Support(name), nil
	}
	var all []string
	for _, s := range Supports() {
		all = append(all, string(s))
	}
	return "", fmt.Errorf("support %q is none of %s", name, strings.Join(all, ", "))
}

// NewPrior returns what is believed of an instrument with these strings on such a support.
func NewPrior(support Support, strs []String) (*Prior, error) {
	gives, ok := supports[support]
	if !ok {
		_, err := ParseSupport(string(support))
		return nil, err
	}
	if len(strs) == 0 {
		return nil, errors.New("an instrument has at least one string")
	}
	places := make([]float64, len(strs))
	for i := range strs {
		s := &strs[i]
		places[i] = s.Place
		if i > 0 && places[i] < places[i-1] {
			return nil, fmt.Errorf("string %d lies before string %d", i+1, i)
		}
		for _, m := range [...]struct {
			name  string
			value float64
		}{{"stiffness", s.EA}, {"length", s.LengthMM}, {"sounding length", s.SoundingMM}, {"tension", s.TensionN}} {
			if !(m.value > 0) || math.IsInf(m.value, 1) {
				return nil, fmt.Errorf("string %d: its %s %g is not above 0", i+1, m.name, m.value)
			}
		}
		if !(s.heard() > 0.1) {
			return nil, fmt.Errorf("string %d: a tension of %.3g N stretches it too far for an axial stiffness of %.3g N", i+1, s.TensionN, s.EA)
		}
	}
	p := &Prior{Support: support, Strings: strs, miss: 0.01}
	for _, g := range gives {
		m := mode{logWeight: -math.Log(g.stiffness), logSD: toldSD}
		switch {
		case g.reach == 0:
			m.shape = alike(len(strs))
		case g.reach < 0:
			m.shape = tilt(places)
		default:
			m.shape, p.miss = Beam(places, g.reach), 0.1
		}
		if support == Untold {
			m.logSD = untoldSD
		}
		p.modes = append(p.modes, m)
	}
	return p, nil
}
