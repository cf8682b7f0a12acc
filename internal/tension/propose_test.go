package tension

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

// The wound strings of the guide have gauges of .026, .036 and .046 in. Their cores are .014, .016 and .018 in by
// common practice, no source; with them the geometry of one layer of round wire gives the guide's figures to 1 %.
func TestWoundAgainstGuide(t *testing.T) {
	for i, c := range []struct{ gauge, core float64 }{{0.026, 0.014}, {0.036, 0.016}, {0.046, 0.018}} {
		want := guide[3+i].linearDensity * lb / inch
		near(t, "linear density", Wound(7850, 7850, c.core*inch, c.gauge*inch), want, 0.01*want)
	}
}

// Between the turns of a winding much finer than its core there is air: of the ring that it fills, circles
// in a row cover π/4.
func TestWoundFills(t *testing.T) {
	const core, wire = 10e-3, 1e-6
	ring := math.Pi * (core + wire) * wire
	near(t, "share of the ring", Wound(0, 1, core, core+2*wire)/ring, math.Pi/4, 1e-6)
}

// A file that gives a linear density is believed before its gauge and core are.
func TestLinearDensity(t *testing.T) {
	const wound = "note='E2'\nscale_length_mm=648\ngauge_mm=1.168\n"
	for text, want := range map[string]float64{
		wound + "core_mm=0.4572\nmaterial='steel wound steel'\n":                            0.00682,
		wound + "core_mm=0.4572\nmaterial='steel wound steel'\nlinear_density_kg_m=0.007\n": 0.007,
		wound + "core_mm=0.4572\nmaterial='wound steel'\n":                                  nan, // of what?
		wound + "material='steel wound steel'\n":                                            nan,
		wound + "core_mm=0.4572\nmaterial='silver wound nylon'\n":                           nan,
		"note='E4'\nscale_length_mm=648\ngauge_mm=0.254\nmaterial='plain steel'\n":          0.000398,
	} {
		got := LinearDensity(stringOf(t, text))
		if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 0.011*want {
			t.Errorf("%s: %g, want %g", text, got, want)
		}
	}
}

func propose(t *testing.T, text string, newtons float64, material string) Proposal {
	t.Helper()
	m, err := targets.ParseMaterial(material)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Propose(stringOf(t, text), newtons, m)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The tensions of the guide, over 25.5 in, ask for the gauges that it has them for: .010 to .046 in, with one
// step for the guide's rounding.
func TestProposeAgainstGuide(t *testing.T) {
	for i, c := range []struct {
		note      string
		thousands float64
		wound     bool
	}{{"E4", 10, false}, {"B3", 13, false}, {"G3", 17, false}, {"D3", 26, true}, {"A2", 36, true}, {"E2", 46, true}} {
		p := propose(t, "note='"+c.note+"'\nscale_length_mm=647.7\n", guide[i].pounds*lbf, "steel")
		near(t, c.note, p.GaugeMM/25.4*1000, c.thousands, 1.001)
		if p.Why != "" || (p.CoreMM > 0) != c.wound || !(p.Load.Part() > 0 && p.Load.Part() < Limit) || !(p.Load.B > 0) {
			t.Errorf("%s: %+v", c.note, p)
		}
		near(t, c.note+" tension", p.Load.TensionN, guide[i].pounds*lbf, 0.11*guide[i].pounds*lbf)
	}
}

// Plain trebles that were weighed and measured: sets EJ45 and EJ46FF of M. B. Anderson & R. G. Beausoleil (J.
// Acoust. Soc. Am. 156, 683, 2024), diameter, tension at 650 mm. Strings of one set differ by 4 % in density.
func TestProposePlastic(t *testing.T) {
	for _, c := range []struct {
		note, material string
		newtons, mm    float64
	}{
		{"E4", "nylon", 68.6, 0.712}, {"B3", "nylon", 52.0, 0.818}, {"G3", "nylon", 54.2, 1.024},
		{"E4", "fluorocarbon", 91.8, 0.630}, {"B3", "fluorocarbon", 66.3, 0.712},
	} {
		p := propose(t, "note='"+c.note+"'\nscale_length_mm=650\n", c.newtons, c.material)
		near(t, c.material, p.GaugeMM, c.mm, 0.03*c.mm)
	}
	// The wound E of EJ45 has 5.47 g/m at 62.8 N; its core is not published.
	low := propose(t, "note='E2'\nscale_length_mm=650\n", 62.8, "nylon")
	near(t, "wanted", low.WantedKgM, 5.47e-3, 0.01e-3)
	if low.GaugeMM != 0 || !strings.Contains(low.Why, "5.47 g/m") {
		t.Errorf("%+v", low)
	}
}

// What cannot be is told, with what would help, and never proposed.
func TestProposeRefuses(t *testing.T) {
	at := func(hz, material string, newtons float64) Proposal {
		return propose(t, "hz="+hz+"\nscale_length_mm=648\n", newtons, material)
	}
	for _, c := range []struct {
		p    Proposal
		says string
	}{
		{at("600", "steel", 80), "no steel holds it"},
		{at("200", "steel", 5), "thinner than strings are made"},
		{at("20", "steel", 300), "more than strings up to"},
		{at("82", "copper wound steel", 80), "the density of a winding of copper is not known"},
	} {
		if !strings.Contains(c.p.Why, c.says) || c.p.GaugeMM != 0 {
			t.Errorf("%q, want %q: %+v", c.p.Why, c.says, c.p)
		}
	}
	// The advice holds: so much lower, or so much shorter, the thinnest wire bears 75 %.
	p := at("600", "steel", 80)
	lower := stringOf(t, "hz=600\nscale_length_mm=648\n")
	near(t, "lower", (Of(func() *targets.InstrumentString { lower.Material = "steel"; return lower }(), 600*math.Exp2(p.Load.CentsToPart(Limit)/1200))).Part(), Limit, 1e-9)
	// Nothing that is proposed is beyond the limit: between these pitches steel comes to it.
	for hz := 400.0; hz < 470; hz++ {
		s := stringOf(t, "hz=440\nscale_length_mm=648\n")
		s.Open.Hz = hz
		p, err := Propose(s, 80, targets.Material{Core: targets.Steel})
		if err != nil || p.Why == "" && p.Load.Beyond() || p.Why != "" && p.GaugeMM != 0 {
			t.Errorf("%g Hz: %+v, %v", hz, p, err)
		}
	}
	for _, newtons := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Propose(stringOf(t, "hz=100\nscale_length_mm=648\n"), newtons, targets.Material{Core: targets.Steel}); err == nil {
			t.Errorf("%g N is accepted", newtons)
		}
	}
	if _, err := Propose(stringOf(t, "hz=100\nscale_length_mm=648\n"), 80, targets.Material{Core: targets.Synthetic}); err == nil {
		t.Error("a gauge of a material without a density")
	}
}
