package tension

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/targets"
	"tunerd/internal/testkit"
)

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

var steelLimit, stainlessLimit = materials[targets.Steel].limit, materials[targets.StainlessSteel].limit

// Table of ASTM A228 as printed; see testdata.
func TestSteelLimitAgainstTable(t *testing.T) {
	for _, r := range testkit.Table(t, "testdata/music_wire_strength.csv") {
		d := number(t, r["diameter_mm"])
		near(t, r["diameter_in"]+" in", steelLimit(d), number(t, r["tensile_min_ksi"])*6.894757, 0.06)
		force := steelLimit(d) * math.Pi / 4 * d * d
		near(t, r["diameter_in"]+" in, N", force, number(t, r["breaking_force_min_N"]), force*1e-4)
	}
	between := steelLimit(0.2667) // halfway from 0.2540 to 0.2794
	near(t, "between rows", between, (2668.3+2633.8)/2, 0.01)
	near(t, "thinner than the table", steelLimit(0.01), 3026.8, 0)
	near(t, "thicker than the table", steelLimit(20), 1585.8, 0)
}

// Table of ASTM A313 as printed; see testdata.
func TestStainlessLimitAgainstTable(t *testing.T) {
	for _, r := range testkit.Table(t, "testdata/stainless_302_strength.csv") {
		ksi, d := number(t, r["tensile_min_ksi"]), number(t, r["to_mm"])
		if strings.Contains(r["note"], "misprint for 314") {
			ksi = 314
		}
		near(t, r["to_in_incl"]+" in", stainlessLimit(d), ksi*6.894757, 0.06)
		if r["over_in"] != "" {
			near(t, r["over_in"]+" in and more", stainlessLimit(number(t, r["over_in"])*25.4+0.001), ksi*6.894757, 0.06)
		}
	}
	if got := stainlessLimit(3); !math.IsNaN(got) {
		t.Errorf("thicker than the table: %g MPa", got)
	}
}

// The table of string materials; see testdata. A limit is told as the highest pitch times length.
func TestMaterialsAgainstTable(t *testing.T) {
	rows := testkit.Table(t, "testdata/string_materials.csv")
	find := func(material, quantity string) map[string]string {
		for _, r := range rows {
			if r["material"] == material && r["quantity"] == quantity {
				return r
			}
		}
		t.Fatalf("no row %s, %s", material, quantity)
		return nil
	}
	bronze := "phosphor bronze C51000, spring temper H08"
	for _, c := range []struct{ text, material, quantity string }{
		{"gauge_mm=0.4\nmaterial='gut'", "gut", "breaking pitch x length"},
		{"gauge_mm=1.2\nmaterial='gut'", "gut", "breaking pitch x length"},
		{"gauge_mm=0.635\nmaterial='plain phosphor bronze'", bronze, "tensile strength min, up to 0.025 in"},
		{"gauge_mm=0.7\nmaterial='plain phosphor bronze'", bronze, "tensile strength min, over 0.025 to 0.0625 in"},
		{"gauge_mm=2\nmaterial='plain phosphor bronze'", bronze, "tensile strength min, over 0.0625 to 0.125 in"},
		{"gauge_mm=0.4\nmaterial='silver'", "sterling silver", "highest tuning of a 68 mm string"},
	} {
		s := stringOf(t, "hz=100\nscale_length_mm=1000\n"+c.text+"\n")
		product := 100 * math.Exp2(Of(s, 100).CentsToPart(1)/1200) // Hz·m over 1 m
		near(t, c.text, product, number(t, find(c.material, c.quantity)["pitch_length_product_hz_m"]), 0.2)
	}
	near(t, "stainless density", materials[targets.StainlessSteel].density, number(t, find("stainless steel 302/304 ASTM A313", "density")["si_value"]), 0)
	near(t, "bronze density", materials[targets.PhosphorBronze].density, number(t, find("phosphor bronze ASTM B159", "density")["si_value"]), 0)
}

// Stainless steel is a fifth weaker than music wire of the same gauge: table 16b beside table 07b.
func TestMaterialsAreNotMixedUp(t *testing.T) {
	part := func(text string) float64 {
		return loadOf(t, "note='E4'\nscale_length_mm=648\n"+text+"\n").Part()
	}
	const of = "gauge_mm=0.254\nmaterial="
	near(t, "stainless over plain", part(of+"'stainless steel'")/part(of+"'plain steel'"), 2668.3/2206.3*7916/7850, 1e-3)
	for _, text := range []string{of + "'nylon'", of + "'fluorocarbon'", of + "'synthetic'", of + "'brass'", "gauge_mm=1\ncore_mm=0.4\nlinear_density_kg_m=0.001\nmaterial='silver wound nylon'"} {
		l := loadOf(t, "note='E4'\nscale_length_mm=648\n"+text+"\n")
		if !math.IsNaN(l.Part()) || !strings.HasPrefix(l.Missing, "no published strength of ") || l.Source != "" || !math.IsNaN(l.LimitMPa) {
			t.Errorf("%s: %+v", text, l)
		}
	}
	// What the trade sells as phosphor bronze has a core of steel.
	const wound = "gauge_mm=1.168\ncore_mm=0.4572\nlinear_density_kg_m=0.00682\nmaterial="
	for _, m := range []string{"'phosphor bronze'", "'phosphor bronze wound steel'", "'nickel-wound steel'", "'roundwound steel'"} {
		near(t, m, part(wound+m), part(wound+"'wound steel'"), 0)
	}
	if l := loadOf(t, "note='E2'\nscale_length_mm=648\ngauge_mm=1.168\nlinear_density_kg_m=0.00682\nmaterial='phosphor bronze'\n"); l.Missing != "core_mm is not given" {
		t.Errorf("%+v", l)
	}
}

// Treble strings weighed by M. B. Anderson & R. G. Beausoleil (J. Acoust. Soc. Am. 156, 683, 2024), set EJ45 and
// EJ46FF: diameter, tension at 650 mm.
func TestDensityOfPlasticStrings(t *testing.T) {
	for _, c := range []struct {
		text    string
		newtons float64
	}{
		{"note='G3'\ngauge_mm=1.024\nmaterial='nylon'", 54.2}, {"note='B3'\ngauge_mm=0.818\nmaterial='nylon'", 52.0},
		{"note='B3'\ngauge_mm=0.712\nmaterial='fluorocarbon'", 66.3}, {"note='E4'\ngauge_mm=0.630\nmaterial='fluorocarbon'", 91.8},
	} {
		near(t, c.text, loadOf(t, "scale_length_mm=650\n"+c.text+"\n").TensionN, c.newtons, 0.05*c.newtons) // strings of one set differ by 4 % in density
	}
}

// Figures of a maker's published tension guide, from memory: linear density in lb/in, 25.5 in,
// tension in lb.
var guide = []struct{ linearDensity, hz, pounds float64 }{
	{0.00002215, 329.6, 16.2}, {0.00003744, 246.9, 15.4}, {0.00006402, 196.0, 16.6},
	{0.00012671, 146.8, 18.4}, {0.00023964, 110.0, 19.5}, {0.00038216, 82.4, 17.5},
}

const lb, inch, lbf = 0.45359237, 0.0254, 4.4482216152605

// "T = 4 m L f², m = 1.25e-4 kg, L = 0.33 m, f = 640 Hz" gives 68 N (about 15 lb): string
// exercise of the University of Minnesota (lcse.umn.edu/specs/labs/string_ex_answer.html).
func TestTensionAgainstPublished(t *testing.T) {
	near(t, "violin E", Tension(1.25e-4/0.33, 0.33, 640), 68, 0.5)
	for _, c := range guide {
		near(t, "guide", Tension(c.linearDensity*lb/inch, 25.5*inch, c.hz)/lbf, c.pounds, 0.07) // one decimal; the guide takes g as 386.4 in/s²
	}
}

// R. W. Young 1952: partial n of a plain steel string is sharp by 3.4e13·n²·d²/(f²·L⁴) cents
// with d and L in cm, for small B, where cents = (1200/ln 2)·(B/2)·n².
func TestInharmonicityAgainstYoung(t *testing.T) {
	for _, c := range []struct{ diameterCM, scaleCM, hz float64 }{{0.0254, 64.8, 329.63}, {0.1, 62, 261.63}, {0.09, 5.4, 4186}} {
		d, l := c.diameterCM/100, c.scaleCM/100
		got := Inharmonicity(200.2e9, d, Tension(7850*math.Pi/4*d*d, l, c.hz), l)
		young := 3.4e13 * c.diameterCM * c.diameterCM / (c.hz * c.hz * math.Pow(c.scaleCM, 4)) / (1200 / math.Ln2 / 2)
		near(t, "B", got, young, young*0.002) // 3.4 is printed with two figures and is 3.404 in full
	}
}

// J. A. Kemp 2020 (SN Applied Sciences 2:636, abstract): on a low bass B stopped at fret 12 the
// 10th partial is about 100 cents sharp, at fret 21 the 6th. From n·f1 that is B = (R−1)/(n²−R),
// R = 2^(2·100/1200). With the tension kept, B grows as 1/L², 2.828 times from fret 12 to 21.
func TestInharmonicityGrowsAsKempFound(t *testing.T) {
	b := func(n float64) float64 { r := math.Exp2(200.0 / 1200); return (r - 1) / (n*n - r) }
	at := func(fret float64) float64 { return Inharmonicity(200e9, 0.001, 150, 0.864*math.Exp2(-fret/12)) }
	near(t, "fret 21 over fret 12", at(21)/at(12), b(6)/b(10), 0.02) // "about 100 cents" both
}

func stringOf(t *testing.T, text string) *targets.InstrumentString {
	t.Helper()
	in, err := targets.ParseInstrument("x.toml", []byte("name='x'\ntuning='12edo'\nreference='A4=440'\n[[strings]]\n"+text))
	if err != nil {
		t.Fatal(err)
	}
	return &in.Strings[0]
}

func loadOf(t *testing.T, text string) Load {
	t.Helper()
	s := stringOf(t, text)
	return Of(s, s.Open.Hz)
}

func TestOf(t *testing.T) {
	plain := loadOf(t, "note='E4'\nscale_length_mm=648\ngauge_mm=0.254\nmaterial='plain steel'\n")
	near(t, "tension of a plain string from its gauge", plain.TensionN, 16.2*lbf, 0.73) // the guide; density of 7850 kg/m³ and 648 mm against its wire and 647.7 mm: 1%
	near(t, "limit", plain.LimitMPa, 2668.3, 0)
	near(t, "B", plain.B, 1.3256e-5, 2e-8) // worked to 40 digits with E = 200 GPa, 647.7 mm
	// The pitch at which music wire of 0.010 in breaks over 647.7 mm, from the same table.
	for _, r := range testkit.Table(t, "testdata/music_wire_strength.csv") {
		if r["diameter_in"] == "0.010" {
			want := number(t, r["limit_pitch_hz_at_647.7mm_rho7850"])
			at := 329.63 * math.Exp2(plain.CentsToPart(1)/1200) * 648 / 647.7
			near(t, "limit pitch", at, want, 0.1)
		}
	}
	near(t, "to a tension", Of(stringOf(t, "hz=100\nscale_length_mm=648\nlinear_density_kg_m=0.001\n"), 100).
		CentsToTension(4*math.Pow(2*0.648*100, 2)*0.001), 1200, 1e-9) // an octave is four times the tension
	if l := loadOf(t, "note='E2'\nscale_length_mm=648\n"); !math.IsNaN(l.TensionN) || !math.IsNaN(l.Part()) || !math.IsInf(l.CentsToPart(0.75), 1) {
		t.Errorf("nothing known: %+v", l)
	}
	if l := loadOf(t, "note='E2'\n"); !math.IsNaN(l.TensionN) {
		t.Errorf("no scale length: %+v", l)
	}
}

func TestOfWoundString(t *testing.T) {
	const wound = "note='E2'\nscale_length_mm=648\ngauge_mm=1.168\nlinear_density_kg_m=0.00682\nmaterial='wound steel'\n"
	l := loadOf(t, wound)
	near(t, "tension", l.TensionN, 17.5*lbf, 0.3) // the guide
	if !math.IsNaN(l.Part()) || !math.IsNaN(l.B) {
		t.Errorf("without its core, stress and B of a wound string are not known: %+v", l)
	}
	l = loadOf(t, wound+"core_mm=0.4572\n")
	// Breaking force of 0.018 in wire by the printed table: 402.97 N.
	near(t, "part of the limit", l.Part(), l.TensionN/402.97, 1e-4)
	near(t, "B", l.B, Inharmonicity(200.2e9, 0.4572e-3, l.TensionN, 0.648), 0)
}

// B of one string falls as the tension rises: as 1/f1².
func TestBFollowsPitch(t *testing.T) {
	s := stringOf(t, "note='E4'\nscale_length_mm=648\ngauge_mm=0.254\nmaterial='plain steel'\n")
	near(t, "from string data", B(s, 2*s.Open.Hz), B(s, s.Open.Hz)/4, 1e-12)
	s.Inharmonicity = 1e-4
	near(t, "as given", B(s, s.Open.Hz), 1e-4, 0)
	near(t, "an octave up", B(s, 2*s.Open.Hz), 1e-4/4, 1e-12)
}
