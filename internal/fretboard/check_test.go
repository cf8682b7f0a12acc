package fretboard

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

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
		{"scale_length_mm=900\n[[strings]]\nnote='E4'\nmaterial='gut'\n", "tension", 0, true, "breaks (gut, 260 Hz"},
		{"scale_length_mm=900\n[[strings]]\nnote='E4'\ngauge_mm=0.7\nmaterial='nylon'\n", "tension", 0, false, "no published strength of nylon strings is known"},
		{"scale_length_mm=400\n[[strings]]\nnote='E2'\ngauge_mm=0.25\nmaterial='steel'\n", "tension", 0, true, "slack"},
		{"scale_length_mm=1000\n[[strings]]\nnote='C4'\nlinear_density_kg_m=0.02\nmaterial='wound steel'\n", "tension", 0, true, "above 400 N"},
		{"scale_length_mm=700\n[[strings]]\nhz=391\ngauge_mm=0.203\nmaterial='plain steel'\n", "tension", 0, true, "85.5% of the 2751 MPa at which it breaks (ASTM A228 music wire, least tensile strength); strings are tuned up to 75%"},
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

// unevenFan is three strings of 600, 610 + off and 620 mm that meet at fret 12, their nuts 20 mm apart.
func unevenFan(off float64) string {
	file := "name='fan'\ntuning='12edo'\nreference='A4=440'\nperpendicular_fret=12\nnut_spread_mm=40\nsaddle_spread_mm=60\nfrets={count=12}\n"
	for _, s := range []struct {
		note  string
		scale float64
	}{{"E4", 600}, {"B3", 610 + off}, {"G3", 620}} {
		file += fmt.Sprintf("[[strings]]\nnote='%s'\nscale_length_mm=%g\n", s.note, s.scale)
	}
	return file
}

// A slot of a fan is straight where scale lengths change evenly. Fret 12 halves every string, so the
// nut of the middle one lies off/2 farther out than the line of the others, which runs 10 mm along
// in 40 mm across.
func TestCheckFindsBentSlots(t *testing.T) {
	for _, off := range []float64{0, 0.1, 5, -3} {
		var found []Finding
		for _, f := range Check(parse(t, unevenFan(off))) {
			if f.Kind == "bent slot" {
				found = append(found, f)
			}
		}
		if math.Abs(off) < 0.2 {
			if len(found) > 0 {
				t.Errorf("%g mm off even: %+v", off, found)
			}
			continue
		}
		want := fmt.Sprintf("by %.2f mm from the straight line between strings 1 and 3", math.Abs(off)/2*40/math.Hypot(40, 10))
		if len(found) != 1 || !found[0].Fault || found[0].Fret != 0 || !strings.Contains(found[0].Text, want) || !strings.Contains(found[0].Text, "600.0, 610.0, 620.0 mm") {
			t.Errorf("%g mm off even: %+v, want %q at the nut", off, found, want)
		}
	}
}

// Strings and frets given as ratios are meant as they are, though the tuning has no such notes.
func TestRatiosAreNoFaults(t *testing.T) {
	in := parse(t, "name='x'\ntuning='12edo'\nreference='A3=220'\nscale_length_mm=650\nfrets={intervals=['9/8','5/4','3/2','7/4','2/1']}\n"+
		"[[strings]]\ninterval='3/2'\n[[strings]]\ninterval='1/1'\n[[strings]]\ninterval='2/3'\n")
	notes := 0
	for _, f := range Check(in) {
		if f.Fault {
			t.Errorf("%+v", f)
		}
		if f.Kind == "off the tuning" {
			notes++
		}
	}
	if notes == 0 {
		t.Error("not a word of notes that the tuning does not have")
	}
}
