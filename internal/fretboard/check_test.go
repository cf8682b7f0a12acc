package fretboard

import (
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
		{"scale_length_mm=1000\n[[strings]]\nnote='C4'\nunit_weight_kg_m=0.02\nmaterial='wound steel'\n", "tension", 0, true, "above 400 N"},
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
