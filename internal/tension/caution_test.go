package tension

import (
	"errors"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

func instrumentOf(t *testing.T, strings ...string) *targets.Instrument {
	t.Helper()
	text := "name='x'\ntuning='12edo'\nreference='A4=440'\nscale_length_mm=648\n"
	for _, s := range strings {
		text += "[[strings]]\n" + s + "\n"
	}
	in, err := targets.ParseInstrument("x.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func at(t *testing.T, in *targets.Instrument, tuning, reference string) *targets.Instrument {
	t.Helper()
	var to *targets.Tuning
	var ref *targets.Reference
	if tuning != "" {
		tuned, err := targets.ParseTuning(tuning)
		if err != nil {
			t.Fatal(err)
		}
		to = tuned
	}
	if reference != "" {
		r, err := targets.ParseReference(reference)
		if err != nil {
			t.Fatal(err)
		}
		ref = &r
	}
	out, err := in.With(to, ref)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func detuned(t *testing.T, in *targets.Instrument, cents ...float64) *targets.Instrument {
	t.Helper()
	out, err := in.Detuned(cents)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

const (
	plainE4 = "note='E4'\ngauge_mm=0.254\nmaterial='plain steel'"
	woundE2 = "note='E2'\ngauge_mm=1.168\nlinear_density_kg_m=0.00682\nmaterial='wound steel'"
)

func TestCautionsSpeakOfRaisedStringsOnly(t *testing.T) {
	in := instrumentOf(t, plainE4, woundE2)
	if got := Cautions(Changes(detuned(t, in, 0, -20), nil)); got != nil {
		t.Errorf("no string is raised, yet %q", got)
	}
	all := Cautions(Changes(detuned(t, in, 100, -20), nil))
	got := strings.Join(all, "\n")
	for _, want := range []string{
		"caution: raises string 1; wear eye protection, slacken first if unsure\n",
		"string 1 (E4) rises by 100.00 cents: 81.5 N, 60.3% of its breaking limit (before: 72.6 N, 53.7%)\n", // 2^(2/12) = 1.1225 of it
		"\nbreaking limits: ASTM A228",
		"all strings together: ", "eye protection", "slacken first", "neck and bridge", "technician's word",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in\n%s", want, got)
		}
	}
	if brief := Brief(Changes(detuned(t, in, 100, 50), nil)); brief != "caution: raises strings 1, 2; wear eye protection, slacken first if unsure; "+
		"string 1 (E4) rises by 100.00 cents: 81.5 N, 60.3% of its breaking limit (before: 72.6 N, 53.7%)" {
		t.Errorf("%q", brief)
	}
	if strings.Contains(got, "string 2") {
		t.Errorf("string 2 is not raised:\n%s", got)
	}
	for _, paragraph := range all {
		if strings.ContainsAny(paragraph, "\n\r") {
			t.Errorf("%q has a line break", paragraph)
		}
	}
	lost := strings.Join(Cautions(Changes(detuned(t, instrumentOf(t, "note='E4'"), 1), nil)), "\n")
	if !strings.Contains(lost, "tension not known, part of its breaking limit not known, as its material is not given") {
		t.Errorf("%q", lost)
	}
}

// Whatever sets the target, it is compared with the pitch of the file.
func TestEveryRoadIsCompared(t *testing.T) {
	in := instrumentOf(t, plainE4, woundE2)
	for name, moved := range map[string]*targets.Instrument{
		"reference":                       at(t, in, "", "A4=466.1637615"), // a semitone: 100 cents
		"moves":                           detuned(t, in, 100, 100),
		"moves back from a low reference": detuned(t, at(t, in, "", "A4=415.3046976"), 200, 200),
	} {
		changes := Changes(moved, nil)
		near(t, name, changes[0].AboveOwn, 100, 1e-3)
		near(t, name, changes[0].After.Part()/changes[0].Own.Part(), 1.122462, 1e-4) // 2^(2/12)
		if got := Short(changes); !strings.HasPrefix(got, "caution: raises strings 1, 2; ") {
			t.Errorf("%s: %q", name, got)
		}
	}
	// A tuning in which E is 1.955 cents higher above A than in equal temperament: E4, 3/2 of A3.
	changes := Changes(at(t, in, "pythagorean", ""), nil)
	near(t, "tuning", changes[0].AboveOwn, 1.955, 1e-3)
	if !changes[0].Raises() {
		t.Error("1.955 cents are a rise")
	}
	// A string that was measured low rises, though not above its own pitch.
	changes = Changes(in, []float64{in.Strings[0].Open.Hz / 1.0594631, 0})
	if got := Cautions(changes); len(got) == 0 || !strings.Contains(got[1], "string 1 (E4) rises by 100.00 cents: 72.6 N") || len(got) != 5 {
		t.Errorf("%q", got)
	}
}

// At A4=600 the E4 of a 648 mm guitar is at 449.5 Hz; the table of ASTM A228 breaks 0.254 mm wire at
// 450.07 Hz over 647.7 mm.
func TestBeyondTheLimitIsRefused(t *testing.T) {
	in := instrumentOf(t, plainE4, woundE2)
	if err := Refuse(Changes(in, nil)); err != nil {
		t.Errorf("its own pitch: %v", err)
	}
	err := Refuse(Changes(at(t, in, "", "A4=600"), nil))
	var risk *Risk
	if !errors.As(err, &risk) || err.Error() != "string 1 (E4) would bear 99.8% of its breaking limit; targets go up to 75%" || !risk.Raised() {
		t.Errorf("%v", err)
	}
	if got := Short(Changes(at(t, in, "", "A4=600"), nil)); !strings.HasPrefix(got, "caution: puts string 1 beyond 75% of the breaking limit, raises string 2; ") {
		t.Errorf("%q", got)
	}
	// The file itself asks for too much.
	high := instrumentOf(t, "note='A4'\ngauge_mm=0.254\nmaterial='plain steel'")
	changes := Changes(high, nil)
	if err := Refuse(changes); err == nil || err.(*Risk).Raised() {
		t.Errorf("%v", err)
	}
	if got := Cautions(changes); len(got) != 4 || !strings.Contains(got[1], "string 1 (A4) is not raised: 129.3 N, 95.7% of its breaking limit") {
		t.Errorf("%q", got)
	}
	// Without its gauge a string is judged by the strongest wire there is.
	bare := instrumentOf(t, "note='C5'\nmaterial='plain steel'")
	if err := Refuse(Changes(bare, nil)); err == nil || !strings.Contains(err.Error(), "at least 119.") {
		t.Errorf("%v", err)
	}
}

func TestStringList(t *testing.T) {
	for want, numbers := range map[string][]int{
		"string 3": {3}, "strings 1, 2": {1, 2}, "strings 1 to 6": {1, 2, 3, 4, 5, 6}, "strings 1, 3 to 5, 7, 8": {1, 3, 4, 5, 7, 8},
	} {
		if got := StringList(numbers); got != want {
			t.Errorf("%v: %q, want %q", numbers, got, want)
		}
	}
}
