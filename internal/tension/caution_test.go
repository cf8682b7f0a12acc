package tension

import (
	"strings"
	"testing"
)

func TestCautionsSpeakOfRaisedStringsOnly(t *testing.T) {
	s := stringOf(t, "note='E4'\nscale_length_mm=648\ngauge_mm=0.254\nmaterial='plain steel'\n")
	w := stringOf(t, "note='E2'\nscale_length_mm=648\ngauge_mm=1.168\nunit_weight_kg_m=0.00682\nmaterial='wound steel'\n")
	up := Change{String: 1, Label: "E4", Cents: 100, Now: Of(s, s.Open.Hz), After: Of(s, s.Open.Hz*1.0594631)}
	down := Change{String: 6, Label: "E2", Cents: -20, Now: Of(w, w.Open.Hz), After: Of(w, w.Open.Hz*0.98851)}
	if got := Cautions([]Change{down}); got != nil {
		t.Errorf("no string is raised, yet %q", got)
	}
	got := strings.Join(Cautions([]Change{up, down}), "\n")
	for _, want := range []string{
		"string 1 (E4) rises by 100.00 cents: 72.6 N now, 81.5 N after", // 2^(2/12) = 1.1225 of it
		"53.7% of its breaking limit now, 60.3% after\nbreaking limits: ASTM A228",
		"all strings together pull with", "eye protection", "slacken first", "neck and bridge", "technician's word",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in\n%s", want, got)
		}
	}
	if strings.Contains(got, "string 6") {
		t.Errorf("string 6 is not raised:\n%s", got)
	}
	if !up.Beyond(0.6) || up.Beyond(0.61) || down.Beyond(0) {
		t.Error("Beyond")
	}
	if short := Short([]Change{up, down}); !strings.HasPrefix(short, "caution: raises string 1; wear eye") || Short([]Change{down}) != "" {
		t.Errorf("%q", short)
	}
	nylon := stringOf(t, "note='E4'\n")
	lost := Cautions([]Change{{String: 2, Label: "x", Cents: 1, Now: Of(nylon, 1), After: Of(nylon, 2)}})
	if !strings.Contains(lost[0], "tension is not known") || !strings.Contains(lost[0], "breaking limit that is, is not known") {
		t.Errorf("%q", lost)
	}
}
