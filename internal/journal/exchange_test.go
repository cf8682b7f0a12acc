package journal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func export(t testing.TB, j *Journal, ids ...int64) string {
	t.Helper()
	var b bytes.Buffer
	if err := j.Export(t.Context(), &b, ids...); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func mustImport(t testing.TB, j *Journal, text string) Imported {
	t.Helper()
	count, err := j.Import(t.Context(), strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return count
}

// anyFloat draws from all bit patterns; anyTime keeps within the years that RFC 3339 can write.
var (
	anyFloat = rapid.Map(rapid.Uint64(), math.Float64frombits)
	anyTime  = rapid.Map(rapid.Int64Range(-62135596800000, 253402300799999), time.UnixMilli)
)

func drawSession(t *rapid.T) Session {
	text := func(name string) string { return rapid.String().Draw(t, name) }
	s := Session{
		Kind: text("kind"), Started: anyTime.Draw(t, "started"), Program: text("program"), Input: text("input"),
		RateHz: rapid.Int().Draw(t, "rate"), Clock: Clock{PPM: anyFloat.Draw(t, "ppm"), SigmaPPM: anyFloat.Draw(t, "sigma"), By: text("by")},
		Instrument: text("instrument"), Tuning: text("tuning"), Reference: text("reference"), Plan: text("plan"),
		Note: text("note"), Data: text("data"),
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "strings") {
		s.Strings = append(s.Strings, String{Number: i + 1, Label: text("label"), TargetHz: anyFloat.Draw(t, "hz"), Material: text("material")})
	}
	return s
}

func drawReading(t *rapid.T) Reading {
	r := Reading{
		File: rapid.String().Draw(t, "file"), String: rapid.Int().Draw(t, "string"), Fret: rapid.Int().Draw(t, "fret"),
		Harmonic: rapid.Int().Draw(t, "harmonic"), Label: string(rapid.SliceOf(rapid.Byte()).Draw(t, "label")), Mark: rapid.String().Draw(t, "mark"),
	}
	for _, x := range r.numbers() {
		*x = anyFloat.Draw(t, "number")
	}
	return r
}

// TestRoundTripIsExact exports a journal of any content, imports it into an empty one, and wants
// the same bytes from the second, and the same readings bit by bit.
func TestRoundTripIsExact(t *testing.T) {
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		a, b := openAt(t, dir, fmt.Sprint(n, "a")), openAt(t, dir, fmt.Sprint(n, "b"))
		defer a.Close()
		defer b.Close()
		for range rapid.IntRange(0, 3).Draw(rt, "sessions") {
			var readings []Reading
			for range rapid.IntRange(1, 4).Draw(rt, "readings") {
				readings = append(readings, drawReading(rt))
			}
			id := keep(t, a, drawSession(rt), readings...)
			back, err := a.Readings(t.Context(), id)
			for i := range readings {
				readings[i] = readings[i].sanitized()
			}
			if err != nil || !sameReadings(back, readings) {
				rt.Fatalf("readings\n%+v\ncame back as\n%+v (%v)", readings, back, err)
			}
		}
		if rapid.Bool().Draw(rt, "event") {
			e := Event{At: anyTime.Draw(rt, "at"), Instrument: rapid.String().Draw(rt, "of"), String: rapid.Int().Draw(rt, "string"), Kind: NewStrings, Text: rapid.String().Draw(rt, "text")}
			if _, err := a.AddEvent(t.Context(), e); err != nil {
				rt.Fatal(err)
			}
		}
		first := export(t, a)
		mustImport(t, b, first)
		if second := export(t, b); second != first {
			rt.Fatalf("exported\n%s\nand after import\n%s", first, second)
		}
	})
}

func openAt(t testing.TB, dir, name string) *Journal {
	t.Helper()
	j, err := Open(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// TestImportMerges: to import twice does nothing, and the later export of a session that went on adds what is new.
func TestImportMerges(t *testing.T) {
	a, b := openNew(t), openNew(t)
	rec := a.Begin(guitar(), nil)
	rec.Add(Reading{F1Hz: 1})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	early := export(t, a)
	rec.Add(Reading{F1Hz: 2})
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := a.AddEvent(t.Context(), Event{Instrument: "x", Kind: NewStrings}); err != nil {
		t.Fatal(err)
	}
	late := export(t, a)
	for _, c := range []struct {
		text string
		want Imported
	}{
		{early, Imported{Sessions: 1, Readings: 1}},
		{early, Imported{Known: 1}},
		{late, Imported{Known: 1, Readings: 1, Events: 1}},
		{late, Imported{Known: 2}},
		{early, Imported{Known: 1}},
	} {
		if got := mustImport(t, b, c.text); got != c.want {
			t.Errorf("imported %+v, want %+v", got, c.want)
		}
	}
	if got := export(t, b); got != late {
		t.Errorf("merged to\n%s\nwant\n%s", got, late)
	}
}

// TestUnsavedComesInByImport: what a locked journal could not take is imported later.
func TestUnsavedComesInByImport(t *testing.T) {
	t.Parallel()
	j := openNew(t)
	rec := j.Begin(guitar(), nil)
	rec.Add(Reading{F1Hz: 1})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	locked := troubles()[0]
	locked.begin(t, j)
	rec.Add(Reading{F1Hz: 2})
	if err := rec.Close(); err == nil {
		t.Error("closed without an error")
	}
	locked.end(t, j)
	var saved bytes.Buffer
	if err := WriteUnsaved(&saved, rec); err != nil {
		t.Fatal(err)
	}
	if got := mustImport(t, j, saved.String()); got != (Imported{Known: 1, Readings: 1}) {
		t.Errorf("imported %+v", got)
	}
	s, err := j.Session(t.Context(), rec.ID())
	if err != nil || s.Ended.IsZero() || s.Readings != 2 {
		t.Errorf("%+v, %v; want it ended with 2 readings", s, err)
	}
	if list, err := j.Readings(t.Context(), rec.ID()); err != nil || len(list) != 2 || list[1].F1Hz != 2 {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestWrongImportsChangeNothing(t *testing.T) {
	const head, session = `{"type":"journal","format":1}` + "\n", `{"type":"session","uid":"a","started":"2026-01-02T03:04:05.678Z"}` + "\n"
	for _, c := range []struct{ text, want string }{
		{"", "line 1: nothing there"},
		{"\n\n", "nothing there"},
		{session, "line 1: this is no exported journal"},
		{"RIFF\x00WAVE", "line 1: this is no exported journal"},
		{`{"type":"journal","format":2}`, "line 1: written in format 2, this tunerd knows format 1"},
		{head + session + `{"type":"reading","session":"a","seq":1,"f1_hz":"high"}`, "line 3: f1_hz cannot be a string"},
		{head + session + `{"type":"reading","session":"b","seq":1}`, `line 3: session "b"`},
		{head + session + `{"type":"reading","session":"a"}`, "line 3: seq 0"},
		{head + session + `{"type":"note"}`, `line 3: type "note"`},
		{head + `{"type":"session"}`, "line 2: a session needs a uid"},
		{head + `{"type":"event"}`, "line 2: an event needs a uid"},
		{head + `{"type":"session","uid":"a","started":"yesterday"}`, `line 2: "yesterday" is no time`},
		{head + session + "{", "line 3: unexpected end of JSON input"},
	} {
		j := openNew(t)
		_, err := j.Import(t.Context(), strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
		if list, err := j.Sessions(t.Context(), Filter{}); err != nil || len(list) > 0 {
			t.Errorf("%q left %d sessions behind, %v", c.text, len(list), err)
		}
	}
}

// TestFieldsLeftOutAreNotKnown imports what another program has written.
func TestFieldsLeftOutAreNotKnown(t *testing.T) {
	j := openNew(t)
	mustImport(t, j, "\ufeff"+`{"type":"journal","format":1,"made_by":"hand"}
{"type":"session","uid":"a","started":"2026-01-02T05:04:05+02:00","more":[1]}

{"type":"reading","session":"a","seq":1,"f1_hz":110}
`)
	list, err := j.Sessions(t.Context(), Filter{})
	if err != nil || len(list) != 1 || !list[0].Started.Equal(time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)) {
		t.Fatalf("%+v, %v", list, err)
	}
	readings, err := j.Readings(t.Context(), list[0].ID)
	if err != nil || len(readings) != 1 || readings[0].F1Hz != 110 || !math.IsNaN(readings[0].Cents) {
		t.Errorf("%+v, %v", readings, err)
	}
}

func TestExportIsJSONLines(t *testing.T) {
	j := openNew(t)
	id := keep(t, j, guitar(), someReadings()...)
	keep(t, j, Session{}, Reading{})
	if n := strings.Count(export(t, j, id), `"type":"session"`); n != 1 {
		t.Errorf("%d sessions exported, want 1", n)
	}
	var types []string
	for line := range strings.Lines(export(t, j)) {
		var head struct{ Type string }
		if err := json.Unmarshal([]byte(line), &head); err != nil {
			t.Errorf("%q: %v", line, err)
		}
		types = append(types, head.Type)
	}
	if got := strings.Join(types, " "); got != "journal session reading reading session reading" {
		t.Errorf("lines of types %s", got)
	}
	var b bytes.Buffer
	if err := j.Export(t.Context(), &b, 99); err == nil || !strings.Contains(err.Error(), "session 99: no such session") {
		t.Errorf("export of session 99: %v", err)
	}
}
