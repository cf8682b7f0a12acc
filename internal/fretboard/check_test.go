package fretboard

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

// Table of ASTM A228 as printed; see testdata.
func TestSteelLimitAgainstTable(t *testing.T) {
	for _, r := range readTable(t, "music_wire_strength.csv") {
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

// "T = 4 m L f², m = 1.25e-4 kg, L = 0.33 m, f = 640 Hz" gives 68 N (about 15 lb): string
// exercise of the University of Minnesota (lcse.umn.edu/specs/labs/string_ex_answer.html). The
// others are of a maker's published tension guide, from memory: unit weight in lb/in, 25.5 in,
// tension in lb.
func TestTensionAgainstPublished(t *testing.T) {
	near(t, "violin E", Tension(1.25e-4/0.33, 0.33, 640), 68, 0.5)
	const lb, inch, lbf = 0.45359237, 0.0254, 4.4482216152605
	for _, c := range []struct{ unitWeight, hz, pounds float64 }{
		{0.00002215, 329.6, 16.2}, {0.00003744, 246.9, 15.4}, {0.00006402, 196.0, 16.6},
		{0.00012671, 146.8, 18.4}, {0.00023964, 110.0, 19.5}, {0.00038216, 82.4, 17.5},
	} {
		near(t, "guide", Tension(c.unitWeight*lb/inch, 25.5*inch, c.hz)/lbf, c.pounds, 0.07) // one decimal; the guide takes g as 386.4 in/s²
	}
}

func loadOf(t *testing.T, text string) Load {
	t.Helper()
	return LoadOf(&parse(t, "name='x'\ntuning='12edo'\nreference='A4=440'\n[[strings]]\n"+text).Strings[0])
}

func TestLoadOf(t *testing.T) {
	plain := loadOf(t, "note='E4'\nscale_length_mm=648\ngauge_mm=0.254\nmaterial='plain steel'\n")
	near(t, "tension of a plain string from its gauge", plain.TensionN, 72.6, 0.5) // the guide above: 16.2 lb
	near(t, "limit", plain.LimitMPa, 2668.3, 0)
	// The pitch at which music wire of 0.010 in breaks over 647.7 mm, from the same table.
	for _, r := range readTable(t, "music_wire_strength.csv") {
		if r["diameter_in"] == "0.010" {
			at := 329.63 / math.Sqrt(plain.Share()) * 648 / 647.7
			near(t, "limit pitch", at, number(t, r["limit_pitch_hz_at_647.7mm_rho7850"]), 0.1)
		}
	}
	wound := loadOf(t, "note='E2'\nscale_length_mm=648\ngauge_mm=1.168\nunit_weight_kg_m=0.00682\nmaterial='wound steel'\n")
	near(t, "wound", wound.TensionN, 77.7, 0.3) // the guide above: 17.5 lb
	if !math.IsNaN(wound.Share()) {
		t.Error("the stress of a wound string is not known")
	}
	if l := loadOf(t, "note='E2'\nscale_length_mm=648\n"); !math.IsNaN(l.TensionN) || !math.IsNaN(l.Share()) {
		t.Errorf("nothing known: %+v", l)
	}
	if l := loadOf(t, "note='E2'\n"); !math.IsNaN(l.TensionN) {
		t.Errorf("no scale length: %+v", l)
	}
}

func TestBuiltinsHaveNoFaults(t *testing.T) {
	for _, in := range targets.Builtins() {
		for _, f := range Check(in) {
			if f.Fault {
				t.Errorf("%s: %+v", in.ID, f)
			} else {
				t.Logf("%s: %+v", in.ID, f)
			}
		}
	}
}

func TestCheckFindsFaults(t *testing.T) {
	const head = "name='x'\ntuning='12edo'\nreference='A4=440'\n"
	for _, c := range []struct {
		file, kind string
		fret       int
		fault      bool
		says       string
	}{
		{"scale_length_mm=648\n[[strings]]\nnote='C6'\ngauge_mm=0.2\nmaterial='plain steel'\n", "tension", 0, true, "breaks (ASTM A228"},
		{"scale_length_mm=900\n[[strings]]\nnote='E4'\nmaterial='nylon'\n", "tension", 0, true, "breaks"},
		{"scale_length_mm=400\n[[strings]]\nnote='E2'\ngauge_mm=0.25\nmaterial='steel'\n", "tension", 0, true, "slack"},
		{"scale_length_mm=1000\n[[strings]]\nnote='C4'\nunit_weight_kg_m=0.02\nmaterial='wound steel'\n", "tension", 0, true, "above 400 N"},
		{"scale_length_mm=700\n[[strings]]\nhz=391\ngauge_mm=0.203\nmaterial='plain steel'\n", "tension", 0, false, "near its limit"},
		{"scale_length_mm=648\n[[strings]]\nnote='E4'\n", "tension", 0, false, "not known"},
		{"[[strings]]\nnote='E4'\n", "scale length", 0, false, "not given"},
		{"scale_length_mm=345\nfrets={count=30}\n[[strings]]\nnote='A4'\n", "narrow fret", 29, true, "less than 4 mm"},
		{"scale_length_mm=600\nfrets={intervals=['5/4','5/4']}\n[[strings]]\nnote='A2'\n", "duplicate fret", 2, true, "same place as fret 1"},
		{"scale_length_mm=600\nfrets={intervals=['2/1','7/4+1200c']}\n[[strings]]\nnote='A2'\n", "off the tuning", 2, true, "1 of 2 frets"},
		{"scale_length_mm=600\n[[strings]]\nhz=111\n", "off the tuning", 0, true, "+15.67 cents from A2"},
		{"scale_length_mm=600\nfrets={count=24}\n[[strings]]\nnote='C9'\n", "off the tuning", 8, true, "above 13000 Hz"},
	} {
		found := false
		all := Check(parse(t, head+c.file))
		for _, f := range all {
			found = found || f.Kind == c.kind && f.Fret == c.fret && f.Fault == c.fault && f.String == 1 && strings.Contains(f.Text, c.says)
		}
		if !found {
			t.Errorf("%q\n\tfound %+v\n\twant %s at fret %d: %s", c.file, all, c.kind, c.fret, c.says)
		}
	}
}
