package text

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tunerd/internal/display"
)

// bassNote has invented figures.
func bassNote() *Note {
	return &Note{
		File: "a.wav", StartS: 0.118, EndS: 3.902,
		F1Hz: 110.0121, F1SigmaCents: 0.021, AttackF1Hz: 110.19, Partial1Hz: 109.97, Inharmonicity: 0.00012, SNRdB: 41.3,
		Target: &display.Target{Label: "A2", Hz: 110, String: 5},
		Cents:  0.19, CentsSigma: 0.021, BeatHz: 0.012, State: "in tune",
	}
}

// The line is the documented example, so names and order of the fields are those of the schema.
func TestNoteLine(t *testing.T) {
	const want = `{"type":"note","file":"a.wav","channel":0,"start_s":0.118,"end_s":3.902,` +
		`"f1_hz":110.0121,"f1_sigma_cents":0.021,"attack_f1_hz":110.19,"partial1_hz":109.97,"inharmonicity":0.00012,"snr_db":41.3,` +
		`"target":{"label":"A2","hz":110,"step":0,"string":5,"fret":0},` +
		`"cents":0.19,"cents_sigma":0.021,"beat_hz":0.012,"state":"in tune"}` + "\n"
	if got := noteJSONText(t, bassNote()); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

func TestNoteLineOfUnknowns(t *testing.T) {
	n := &Note{File: "<&>.wav", F1Hz: 110, F1SigmaCents: math.Inf(1), Inharmonicity: math.NaN(), SNRdB: math.Inf(1), Cents: 3,
		Partials: []Partial{{Number: 2, Hz: 220, OffCents: math.NaN(), SigmaCents: 0.5, LevelDB: -30}}}
	const want = `{"type":"note","file":"<&>.wav","channel":0,"start_s":0,"end_s":0,` +
		`"f1_hz":110,"f1_sigma_cents":null,"attack_f1_hz":null,"partial1_hz":null,"inharmonicity":null,"snr_db":null,` +
		`"target":null,"cents":null,"cents_sigma":null,"beat_hz":null,"state":null,` +
		`"partials":[{"number":2,"hz":220,"off_cents":null,"sigma_cents":0.5,"level_db":-30}]}` + "\n"
	if got := noteJSONText(t, n); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// A correction of the clock is told, with an uncertainty if that is known.
func TestNoteLineWithClock(t *testing.T) {
	n := bassNote()
	n.Clock = display.Clock{PPM: 12.3, SigmaPPM: 0.2, By: "tone"}
	if got, want := noteJSONText(t, n), `"snr_db":41.3,"clock":{"ppm":12.3,"sigma_ppm":0.2,"by":"tone"},"target":`; !strings.Contains(got, want) {
		t.Errorf("got %s, want %s in it", got, want)
	}
	n.Clock = display.Clock{PPM: -5, By: "given"}
	if got, want := noteJSONText(t, n), `"clock":{"ppm":-5,"sigma_ppm":null,"by":"given"}`; !strings.Contains(got, want) {
		t.Errorf("got %s, want %s in it", got, want)
	}
}

func noteJSONText(t interface{ Fatal(...any) }, n *Note) string {
	var out bytes.Buffer
	if err := NewNoteJSON(&out).WriteNote(n); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// anyFloat is a float64 that may be NaN or infinite.
func anyFloat(t *rapid.T, label string) float64 {
	return rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0})).Draw(t, label)
}

// anyNote has anything in it that the type allows.
func anyNote(t *rapid.T) *Note {
	n := &Note{File: rapid.String().Draw(t, "file"), Channel: rapid.IntRange(0, 64).Draw(t, "channel"), State: "flat"}
	for _, p := range []*float64{&n.StartS, &n.EndS, &n.F1Hz, &n.F1SigmaCents, &n.AttackF1Hz, &n.Partial1Hz,
		&n.Inharmonicity, &n.SNRdB, &n.Cents, &n.CentsSigma, &n.BeatHz} {
		*p = anyFloat(t, "figure")
	}
	if rapid.Bool().Draw(t, "has target") {
		n.Target = &display.Target{Label: rapid.String().Draw(t, "label"), Hz: anyFloat(t, "target Hz"), String: rapid.IntRange(0, 12).Draw(t, "string")}
	}
	for range rapid.IntRange(0, 3).Draw(t, "partials") {
		n.Partials = append(n.Partials, Partial{2, anyFloat(t, "hz"), anyFloat(t, "off"), anyFloat(t, "sigma"), anyFloat(t, "level")})
	}
	return n
}

// Whatever a note holds, its line is one valid object (by the standard decoder) that gives the
// numbers back bit for bit, and null for what JSON cannot carry.
func TestNoteLineIsAlwaysValid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := anyNote(t)
		line := noteJSONText(t, n)
		if strings.Count(line, "\n") != 1 || !strings.HasSuffix(line, "\n") {
			t.Fatalf("not one line: %q", line)
		}
		var got map[string]any
		if err := json.Unmarshal([]byte(line), &got); err != nil {
			t.Fatalf("%v: %s", err, line)
		}
		for name, want := range map[string]float64{"f1_hz": n.F1Hz, "inharmonicity": n.Inharmonicity, "snr_db": n.SNRdB} {
			x, ok := got[name].(float64)
			if ok != finite(want) || ok && x != want {
				t.Fatalf("%s: got %v, want %g", name, got[name], want)
			}
		}
	})
}

// A CSV reader gets the figures of the JSON line under the same names.
func TestCSVAgreesWithJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := anyNote(t)
		n.File = strings.ReplaceAll(n.File, "\r", "") // encoding/csv reads \r\n as \n
		var out bytes.Buffer
		if err := NewNoteCSV(&out, false).WriteNote(n); err != nil {
			t.Fatal(err)
		}
		if n.Target != nil && strings.Contains(n.Target.Label, "\r") {
			return
		}
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil || len(rows) != 2 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		var want map[string]any
		if err := json.Unmarshal([]byte(noteJSONText(t, n)), &want); err != nil {
			t.Fatal(err)
		}
		for i, name := range rows[0] {
			w := want[name]
			if sub, ok := strings.CutPrefix(name, "target_"); ok {
				target, _ := want["target"].(map[string]any)
				w = target[sub]
			}
			checkColumn(t, name, rows[1][i], w)
		}
	})
}

// Partials stand in lists, parted by spaces, with the figures of the JSON line.
func TestCSVHasPartials(t *testing.T) {
	n := &Note{F1Hz: 110, Partials: []Partial{
		{Number: 1, Hz: 110.25, OffCents: 0.5, SigmaCents: 0.125, LevelDB: -20},
		{Number: 3, Hz: 331, OffCents: -0.25, SigmaCents: math.NaN(), LevelDB: -31.5},
	}}
	var out bytes.Buffer
	if err := NewNoteCSV(&out, true).WriteNote(n); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 2 || len(rows[0]) != len(rows[1]) {
		t.Fatalf("%q, %v", rows, err)
	}
	for name, want := range map[string]string{
		"partial_numbers": "1 3", "partial_hz": "110.25 331", "partial_off_cents": "0.5 -0.25",
		"partial_sigma_cents": "0.125 -", "partial_level_db": "-20 -31.5",
	} {
		if i := slices.Index(rows[0], name); i < 0 || rows[1][i] != want {
			t.Errorf("%s: %q in %q, want %q", name, rows[1], rows[0], want)
		}
	}
}

func checkColumn(t *rapid.T, name, got string, want any) {
	switch want := want.(type) {
	case nil:
		if got != "" {
			t.Fatalf("%s: got %q, want nothing", name, got)
		}
	case float64:
		if x, err := strconv.ParseFloat(got, 64); err != nil || x != want {
			t.Fatalf("%s: got %q, want %g", name, got, want)
		}
	case string:
		if strings.ToValidUTF8(got, "\ufffd") != strings.ToValidUTF8(want, "\ufffd") {
			t.Fatalf("%s: got %q, want %q", name, got, want)
		}
	}
}

func TestCSVOfNothingIsEmpty(t *testing.T) {
	for name, w := range map[string]func(*bytes.Buffer) NoteWriter{
		"CSV":   func(b *bytes.Buffer) NoteWriter { return NewNoteCSV(b, true) },
		"table": func(b *bytes.Buffer) NoteWriter { return NewNoteTable(b) },
		"JSON":  func(b *bytes.Buffer) NoteWriter { return NewNoteJSON(b) },
	} {
		var out bytes.Buffer
		if err := w(&out).Flush(); err != nil || out.Len() > 0 {
			t.Errorf("%s of no notes: %q, %v", name, out.String(), err)
		}
	}
}

// A table of anything has a line for each note and partial and no control character that a file
// name could smuggle in.
func TestTableTakesAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := anyNote(t)
		var out bytes.Buffer
		table := NewNoteTable(&out)
		if err := table.WriteNote(n); err != nil {
			t.Fatal(err)
		}
		if err := table.Flush(); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
		if len(lines) != 2+len(n.Partials) {
			t.Fatalf("%d lines for a note with %d partials:\n%q", len(lines), len(n.Partials), out.String())
		}
		for _, line := range lines {
			if strings.IndexFunc(line, func(r rune) bool { return r < 0x20 || r >= 0x7f && r < 0xa0 }) >= 0 {
				t.Fatalf("control character in %q", line)
			}
			if strings.Contains(line, "NaN") && !strings.Contains(n.File+n.State, "NaN") && (n.Target == nil || !strings.Contains(n.Target.Label, "NaN")) {
				t.Fatalf("NaN in %q", line)
			}
		}
	})
}

// A note in doubt says why; one that is not has no such field.
func TestNoteJSONDoubt(t *testing.T) {
	for _, doubt := range []string{"", "only a part of it could be read"} {
		var out strings.Builder
		if err := NewNoteJSON(&out).WriteNote(&Note{F1Hz: 440, F1SigmaCents: 5, Doubt: doubt}); err != nil {
			t.Fatal(err)
		}
		var line map[string]any
		if err := json.Unmarshal([]byte(out.String()), &line); err != nil {
			t.Fatal(err)
		}
		if got, there := line["doubt"]; there != (doubt != "") || there && got != doubt {
			t.Errorf("doubt %q: the line has %v", doubt, got)
		}
	}
}
