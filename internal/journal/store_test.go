package journal_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
	"tunerd/internal/journal/sqlite"
)

// An opener opens a new journal.
type opener func(testing.TB) *journal.Journal

// stores are the ways to keep a journal. What is asked of a journal here is asked of each.
var stores = map[string]opener{
	"memory": func(testing.TB) *journal.Journal { return journal.New(journal.NewMemory()) },
	"sqlite": func(t testing.TB) *journal.Journal {
		j, err := sqlite.Open(filepath.Join(t.TempDir(), "journal.db"))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { j.Close() })
		return j
	},
}

func onEach(t *testing.T, f func(*testing.T, opener)) {
	for name, open := range stores {
		t.Run(name, func(t *testing.T) { f(t, open) })
	}
}

func TestWhatIsKeptComesBack(t *testing.T) { onEach(t, testWhatIsKeptComesBack) }

func testWhatIsKeptComesBack(t *testing.T, openNew opener) {
	j := openNew(t)
	want, readings := journaltest.Guitar(), journaltest.Readings()
	id := journaltest.Keep(t, j, want, readings...)
	got, err := j.Session(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if got.Ended.IsZero() || got.Ended.Before(time.Now().Add(-time.Hour)) {
		t.Errorf("ended %v, want now", got.Ended)
	}
	want.ID, want.Readings, want.Ended = id, len(readings), got.Ended
	if !reflect.DeepEqual(*got, want) {
		t.Errorf("session\n%+v\nwant\n%+v", *got, want)
	}
	back, err := j.Readings(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if !journaltest.SameReadings(back, readings) {
		t.Errorf("readings\n%+v\nwant\n%+v", back, readings)
	}
}

func TestSessionWithoutReadingsLeavesNothing(t *testing.T) {
	onEach(t, testSessionWithoutReadingsLeavesNothing)
}

func testSessionWithoutReadingsLeavesNothing(t *testing.T, openNew opener) {
	j := openNew(t)
	if id := journaltest.Keep(t, j, journaltest.Guitar()); id != 0 {
		t.Errorf("stored as session %d", id)
	}
	if list, err := j.Sessions(t.Context(), journal.Filter{}); err != nil || len(list) != 0 {
		t.Errorf("%v, %v; want nothing", list, err)
	}
}

func TestAmendAndNote(t *testing.T) { onEach(t, testAmendAndNote) }

func testAmendAndNote(t *testing.T, openNew opener) {
	j := openNew(t)
	rec := j.Begin(journal.Session{Kind: "intonation"}, nil)
	rec.Amend(func(s *journal.Session) { s.Data = "before the first reading" })
	rec.Add(journal.Reading{F1Hz: 110})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := j.Note(t.Context(), rec.ID(), "remark"); err != nil {
		t.Fatal(err)
	}
	rec.Amend(func(s *journal.Session) { s.Plan = "b" })
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := j.Session(t.Context(), rec.ID())
	if err != nil {
		t.Fatal(err)
	}
	if s.Data != "before the first reading" || s.Plan != "b" || s.Note != "remark" || s.Readings != 1 {
		t.Errorf("%+v", s)
	}
}

func TestFilters(t *testing.T) { onEach(t, testFilters) }

func testFilters(t *testing.T, openNew opener) {
	j := openNew(t)
	at := func(day int) time.Time { return time.UnixMilli(0).AddDate(0, 0, day).UTC() }
	for day, name := range []string{"a", "b", "a", "a"} { // not in the order of time
		start := at([]int{2, 1, 4, 3}[day])
		journaltest.Keep(t, j, journal.Session{Kind: []string{"listen", "measure"}[day%2], Instrument: name, Started: start}, journal.Reading{F1Hz: 1})
	}
	for _, c := range []struct {
		f    journal.Filter
		days []int
	}{
		{journal.Filter{}, []int{1, 2, 3, 4}},
		{journal.Filter{Last: 2}, []int{3, 4}},
		{journal.Filter{Instruments: []journal.Instrument{{Name: "a"}}}, []int{2, 3, 4}},
		{journal.Filter{Instruments: []journal.Instrument{{Name: "a"}}, Last: 1}, []int{4}},
		{journal.Filter{Kind: "measure"}, []int{1, 3}},
		{journal.Filter{Since: at(2), Until: at(4)}, []int{2, 3}},
		{journal.Filter{Instruments: []journal.Instrument{{Name: "nobody"}}}, nil},
	} {
		list, err := j.Sessions(t.Context(), c.f)
		if err != nil {
			t.Fatal(err)
		}
		var days []int
		for _, s := range list {
			days = append(days, int(s.Started.Sub(at(0)).Hours()/24))
		}
		if !reflect.DeepEqual(days, c.days) {
			t.Errorf("%+v: days %v, want %v", c.f, days, c.days)
		}
	}
}

func TestDeleteIsAllOrNothing(t *testing.T) { onEach(t, testDeleteIsAllOrNothing) }

func testDeleteIsAllOrNothing(t *testing.T, openNew opener) {
	j := openNew(t)
	one := journaltest.Keep(t, j, journal.Session{}, journal.Reading{F1Hz: 1})
	two := journaltest.Keep(t, j, journal.Session{}, journal.Reading{F1Hz: 2})
	event, err := j.AddEvent(t.Context(), journal.Event{Kind: journal.Remark})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Delete(t.Context(), []int64{one}, []int64{event + 1}); !errors.Is(err, journal.ErrNoEvent) {
		t.Errorf("%v, want journal.ErrNoEvent", err)
	}
	if err := j.Delete(t.Context(), []int64{one, two + 1}, nil); !errors.Is(err, journal.ErrNoSession) {
		t.Errorf("%v, want journal.ErrNoSession", err)
	}
	if _, err := j.Session(t.Context(), one); err != nil {
		t.Errorf("session %d has gone: %v", one, err)
	}
	if err := j.Delete(t.Context(), []int64{one, two}, []int64{event}); err != nil {
		t.Fatal(err)
	}
	if three := journaltest.Keep(t, j, journal.Session{}, journal.Reading{F1Hz: 3}); three <= two {
		t.Errorf("the number %d was given again after %d", three, two)
	}
}

// anyNumber draws what a value of a reading can be, also one that is not known; anyTime keeps within the
// years that RFC 3339 can write.
var (
	anyNumber = rapid.OneOf(rapid.Float64Range(0, 1), rapid.Just(math.NaN()), rapid.Just(5e-324), rapid.Float64Range(0, 1e-5))
	anyTime   = rapid.Map(rapid.Int64Range(-62135596800000, 253402300799999), time.UnixMilli)
)

func drawSession(t *rapid.T) journal.Session {
	text := func(name string) string { return rapid.String().Draw(t, name) }
	s := journal.Session{
		Kind: text("kind"), Started: anyTime.Draw(t, "started"), Program: text("program"), Input: text("input"),
		RateHz: rapid.IntRange(0, 192000).Draw(t, "rate"), Clock: journal.Clock{PPM: anyNumber.Draw(t, "ppm"), SigmaPPM: anyNumber.Draw(t, "sigma"), By: text("by")},
		Instrument: text("instrument"), Tuning: text("tuning"), Reference: text("reference"), Plan: text("plan"),
		Note: text("note"), Data: text("data"),
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "strings") {
		s.Strings = append(s.Strings, journal.String{Number: i + 1, Label: text("label"), TargetHz: anyNumber.Draw(t, "hz"), Material: text("material")})
	}
	return s
}

func drawReading(t *rapid.T) journal.Reading {
	r := journal.Reading{
		File: rapid.String().Draw(t, "file"), String: rapid.IntRange(0, 10000).Draw(t, "string"), Fret: rapid.IntRange(0, 10000).Draw(t, "fret"),
		Harmonic: rapid.IntRange(0, 10000).Draw(t, "harmonic"), Label: string(rapid.SliceOf(rapid.Byte()).Draw(t, "label")), Mark: rapid.String().Draw(t, "mark"),
	}
	r.TargetHz, r.F1Hz = rapid.Float64Range(0, 96000).Draw(t, "target"), rapid.Float64Range(0, 96000).Draw(t, "f1")
	r.Cents, r.SNRdB = rapid.Float64Range(-24000, 24000).Draw(t, "cents"), rapid.Float64Range(-1000, 1000).Draw(t, "snr")
	r.FromS, r.ToS = anyNumber.Draw(t, "from"), rapid.Float64Range(1, 1e7).Draw(t, "to")
	for _, x := range []*float64{&r.TimeS, &r.SigmaCents, &r.AttackF1Hz, &r.Partial1Hz, &r.B} {
		*x = anyNumber.Draw(t, "number")
	}
	return r
}

// TestRoundTripIsExact exports a journal of any content, imports it into an empty one, and wants
// the same bytes from the second, and the same readings bit by bit.
func TestRoundTripIsExact(t *testing.T) { onEach(t, testRoundTripIsExact) }

func testRoundTripIsExact(t *testing.T, openNew opener) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b := openNew(t), openNew(t)
		defer a.Close()
		defer b.Close()
		for range rapid.IntRange(0, 3).Draw(rt, "sessions") {
			var readings []journal.Reading
			for range rapid.IntRange(1, 4).Draw(rt, "readings") {
				readings = append(readings, drawReading(rt))
			}
			id := journaltest.Keep(t, a, drawSession(rt), readings...)
			back, err := a.Readings(t.Context(), id)
			for i := range readings { // as every copy has it
				r := &readings[i]
				for _, x := range []*float64{&r.Cents, &r.SNRdB} {
					*x += 0 // there is no negative zero
				}
				for _, text := range []*string{&r.File, &r.Label, &r.Mark} {
					*text = strings.ReplaceAll(strings.ToValidUTF8(*text, "\ufffd"), "\x00", "")
				}
			}
			if err != nil || !journaltest.SameReadings(back, readings) {
				rt.Fatalf("readings\n%+v\ncame back as\n%+v (%v)", readings, back, err)
			}
		}
		if rapid.Bool().Draw(rt, "event") {
			e := journal.Event{At: anyTime.Draw(rt, "at"), Instrument: rapid.String().Draw(rt, "of"), String: rapid.IntRange(0, 10000).Draw(rt, "string"), Kind: journal.NewStrings, Text: rapid.String().Draw(rt, "text")}
			if _, err := a.AddEvent(t.Context(), e); err != nil {
				rt.Fatal(err)
			}
		}
		first := journaltest.Export(t, a)
		journaltest.Import(t, b, first)
		if second := journaltest.Export(t, b); second != first {
			rt.Fatalf("exported\n%s\nand after import\n%s", first, second)
		}
	})
}

// TestImportMerges: to import twice does nothing, and the later export of a session that went on adds what is new.
func TestImportMerges(t *testing.T) { onEach(t, testImportMerges) }

func testImportMerges(t *testing.T, openNew opener) {
	a, b := openNew(t), openNew(t)
	rec := a.Begin(journaltest.Guitar(), nil)
	rec.Add(journal.Reading{F1Hz: 1})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	early := journaltest.Export(t, a)
	rec.Add(journal.Reading{F1Hz: 2})
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := a.AddEvent(t.Context(), journal.Event{Instrument: "x", Kind: journal.NewStrings}); err != nil {
		t.Fatal(err)
	}
	late := journaltest.Export(t, a)
	for _, c := range []struct {
		text string
		want journal.Imported
	}{
		{early, journal.Imported{Sessions: 1, Readings: 1}},
		{early, journal.Imported{Known: 1}},
		{late, journal.Imported{Known: 1, Readings: 1, Events: 1}},
		{late, journal.Imported{Known: 2}},
		{early, journal.Imported{Known: 1}},
	} {
		if got := journaltest.Import(t, b, c.text); got != c.want {
			t.Errorf("imported %+v, want %+v", got, c.want)
		}
	}
	if got := journaltest.Export(t, b); got != late {
		t.Errorf("merged to\n%s\nwant\n%s", got, late)
	}
}

func TestWrongImportsChangeNothing(t *testing.T) { onEach(t, testWrongImportsChangeNothing) }

func testWrongImportsChangeNothing(t *testing.T, openNew opener) {
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
		{head + session + `{"type":"reading","session":"a","seq":1,"f1_hz":-82}`, "line 3: f1_hz -82 cannot be: it is 0 to 96000"},
		{head + session + `{"type":"reading","session":"a","seq":1,"f1_sigma_cents":-0.1}`, "line 3: f1_sigma_cents -0.1 cannot be"},
		{head + session + `{"type":"reading","session":"a","seq":1,"cents":1e308}`, "line 3: cents 1e+308 cannot be: it is -24000 to 24000"},
		{head + session + `{"type":"reading","session":"a","seq":1,"f1_hz":1e999}`, "line 3: "},
		{head + session + `{"type":"reading","session":"a","seq":1,"target_hz":1e7}`, "line 3: target_hz 1e+07 cannot be"},
		{head + session + `{"type":"reading","session":"a","seq":1,"t_s":-1}`, "line 3: t_s -1 cannot be"},
		{head + session + `{"type":"reading","session":"a","seq":1,"from_s":2,"to_s":1}`, "line 3: from_s 2 cannot be: it is not above to_s, 1"},
		{head + session + `{"type":"reading","session":"a","seq":1,"string":-1}`, "line 3: string -1 cannot be"},
		{head + session + `{"type":"reading","session":"a","seq":1,"fret":-3}`, "line 3: fret -3 cannot be"},
		{head + `{"type":"session","uid":"a","sample_rate_hz":-1}`, "line 2: sample_rate_hz -1 cannot be"},
		{head + `{"type":"session","uid":"a","clock":{"sigma_ppm":-1}}`, "line 2: clock.sigma_ppm -1 cannot be"},
		{head + `{"type":"session","uid":"a","strings":[{"number":1,"target_hz":-5}]}`, "line 2: strings.target_hz -5 cannot be"},
		{head + `{"type":"event","uid":"a","kind":"rust"}`, "line 2: kind \"rust\" cannot be"},
		{head + `{"type":"event","uid":"a","kind":"remark","string":-1}`, "line 2: string -1 cannot be"},
		{head + session + `{"type":"note"}`, `line 3: type "note"`},
		{head + `{"type":"session"}`, "line 2: a session needs a uid"},
		{head + `{"type":"event"}`, "line 2: an event needs a uid"},
		{head + `{"type":"session","uid":"a","started":"yesterday"}`, `line 2: "yesterday" is no time`},
		{head + session + "{", "line 3: unexpected end of JSON input"},
	} {
		j := openNew(t)
		_, err := j.Import(t.Context(), strings.NewReader(c.text), 0, nil)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
		if list, err := j.Sessions(t.Context(), journal.Filter{}); err != nil || len(list) > 0 {
			t.Errorf("%q left %d sessions behind, %v", c.text, len(list), err)
		}
	}
}

// TestFieldsLeftOutAreNotKnown imports what another program has written.
func TestFieldsLeftOutAreNotKnown(t *testing.T) { onEach(t, testFieldsLeftOutAreNotKnown) }

func testFieldsLeftOutAreNotKnown(t *testing.T, openNew opener) {
	j := openNew(t)
	journaltest.Import(t, j, "\ufeff"+`{"type":"journal","format":1,"made_by":"hand"}
{"type":"session","uid":"a","started":"2026-01-02T05:04:05+02:00","more":[1]}

{"type":"reading","session":"a","seq":1,"f1_hz":110}
`)
	list, err := j.Sessions(t.Context(), journal.Filter{})
	if err != nil || len(list) != 1 || !list[0].Started.Equal(time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)) {
		t.Fatalf("%+v, %v", list, err)
	}
	readings, err := j.Readings(t.Context(), list[0].ID)
	if err != nil || len(readings) != 1 || readings[0].F1Hz != 110 || !math.IsNaN(readings[0].Cents) {
		t.Errorf("%+v, %v", readings, err)
	}
}

func TestExportIsJSONLines(t *testing.T) { onEach(t, testExportIsJSONLines) }

func testExportIsJSONLines(t *testing.T, openNew opener) {
	j := openNew(t)
	id := journaltest.Keep(t, j, journaltest.Guitar(), journaltest.Readings()...)
	journaltest.Keep(t, j, journal.Session{}, journal.Reading{})
	if n := strings.Count(journaltest.Export(t, j, id), `"type":"session"`); n != 1 {
		t.Errorf("%d sessions exported, want 1", n)
	}
	var types []string
	for line := range strings.Lines(journaltest.Export(t, j)) {
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
	if err := j.Export(t.Context(), &b, nil, 99); err == nil || !strings.Contains(err.Error(), "session 99: no such session") {
		t.Errorf("export of session 99: %v", err)
	}
}

// TestExportStopsWithItsWriter: a full disk is told by its own error, and no more is read.
func TestExportStopsWithItsWriter(t *testing.T) { onEach(t, testExportStopsWithItsWriter) }

func testExportStopsWithItsWriter(t *testing.T, openNew opener) {
	j := openNew(t)
	for range 3 {
		journaltest.Keep(t, j, journal.Session{Note: strings.Repeat("long ", 1<<17)}, journal.Reading{})
	}
	full := errors.New("no space left")
	w := fullAfter{1 << 20, full}
	if err := j.Export(t.Context(), &w, nil); !errors.Is(err, full) || errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %q alone", err, full)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := j.Export(ctx, io.Discard, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want that it was stopped", err)
	}
}

// A fullAfter takes so many bytes.
type fullAfter struct {
	left int
	err  error
}

func (f *fullAfter) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, f.err
	}
	return len(p), nil
}

// TestReadingsAreStoredUnasked waits for the background to store, as in a session that goes on.
func TestReadingsAreStoredUnasked(t *testing.T) { onEach(t, testReadingsAreStoredUnasked) }

func testReadingsAreStoredUnasked(t *testing.T, openNew opener) {
	j := openNew(t)
	rec := j.Begin(journal.Session{}, nil)
	for want := 1; want <= 2; want++ {
		rec.Add(journal.Reading{F1Hz: 1})
		for {
			if list, err := j.Sessions(t.Context(), journal.Filter{}); err != nil {
				t.Fatal(err)
			} else if len(list) == 1 && list[0].Readings == want && list[0].Ended.IsZero() {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	if next := journaltest.Keep(t, j, journal.Session{}, journal.Reading{}); next != rec.ID()+1 {
		t.Errorf("session %d is followed by %d: numbers were used up", rec.ID(), next)
	}
}
