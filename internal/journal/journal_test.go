package journal

import (
	"bytes"
	"database/sql"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// openNew opens a journal in a folder whose name has what URIs and SQL care about.
func openNew(t testing.TB) *Journal {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a b?c#d%41'é", "journal.db")
	j, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("the journal is not where it was wanted: %v", err)
	}
	return j
}

// guitar is a session with every field set.
func guitar() Session {
	return Session{
		UID: "00c0ffee00c0ffee", Kind: "listen",
		Started: time.UnixMilli(1760000000123).UTC(), Ended: time.UnixMilli(1760000900456).UTC(),
		Program: "v1", Input: "Bench mic", RateHz: 48000, Clock: Clock{PPM: 12.3, SigmaPPM: 0.2, By: "tone"},
		Instrument: "guitar-41edo-alternate",
		Strings: []String{
			{Number: 1, Label: "E4", TargetHz: 329.6275569128699, GaugeMM: 0.254, UnitWeight: 4.0e-4, Material: "plain steel"},
			{Number: 2, Label: "B♭3 +1", TargetHz: 1.0 / 3},
		},
		Tuning: "41edo", Reference: "A4=440 Hz", Plan: "pure 4:5:6:7", Note: "new strings\nsettling", Data: `{"a":1}`,
	}
}

func someReadings() []Reading {
	unknown := math.NaN()
	return []Reading{
		{TimeS: 0.1, String: 1, Label: "E4", TargetHz: 329.6275569128699, F1Hz: 329.7, SigmaCents: 0.02, Cents: 0.38,
			AttackF1Hz: 329.9, Partial1Hz: 329.69, B: 4e-5, SNRdB: 41.25, FromS: 0.3, ToS: 2, Mark: "left out"},
		{TimeS: 3.7, File: "a.wav", String: 2, Fret: 7, Harmonic: 3, Label: "ő", TargetHz: 100, F1Hz: 5e-324, SigmaCents: math.MaxFloat64,
			Cents: unknown, AttackF1Hz: unknown, Partial1Hz: unknown, B: unknown, SNRdB: unknown, FromS: unknown, ToS: unknown},
	}
}

func keep(t testing.TB, j *Journal, s Session, readings ...Reading) int64 {
	t.Helper()
	rec := j.Begin(s, func(line string) { t.Error(line) })
	for _, r := range readings {
		rec.Add(r)
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	return rec.ID()
}

// sameReadings compares with NaN equal to itself.
func sameReadings(a, b []Reading) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := a[i], b[i]
		px, py := x.numbers(), y.numbers()
		for k := range px {
			if math.Float64bits(*px[k]) != math.Float64bits(*py[k]) && !(math.IsNaN(*px[k]) && math.IsNaN(*py[k])) {
				return false
			}
			*px[k], *py[k] = 0, 0
		}
		if x != y {
			return false
		}
	}
	return true
}

func TestWhatIsKeptComesBack(t *testing.T) {
	j := openNew(t)
	want, readings := guitar(), someReadings()
	id := keep(t, j, want, readings...)
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
	if !sameReadings(back, readings) {
		t.Errorf("readings\n%+v\nwant\n%+v", back, readings)
	}
}

func TestSessionWithoutReadingsLeavesNothing(t *testing.T) {
	j := openNew(t)
	if id := keep(t, j, guitar()); id != 0 {
		t.Errorf("stored as session %d", id)
	}
	if list, err := j.Sessions(t.Context(), Filter{}); err != nil || len(list) != 0 {
		t.Errorf("%v, %v; want nothing", list, err)
	}
}

func TestAmendAndNote(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{Kind: "intonation"}, nil)
	rec.Amend(func(s *Session) { s.Data = "before the first reading" })
	rec.Add(Reading{F1Hz: 110})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := j.Note(t.Context(), rec.ID(), "remark"); err != nil {
		t.Fatal(err)
	}
	rec.Amend(func(s *Session) { s.Plan = "b" })
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

func TestFilters(t *testing.T) {
	j := openNew(t)
	at := func(day int) time.Time { return time.UnixMilli(0).AddDate(0, 0, day).UTC() }
	for day, name := range []string{"a", "b", "a", "a"} { // not in the order of time
		start := at([]int{2, 1, 4, 3}[day])
		keep(t, j, Session{Kind: []string{"listen", "measure"}[day%2], Instrument: name, Started: start}, Reading{F1Hz: 1})
	}
	for _, c := range []struct {
		f    Filter
		days []int
	}{
		{Filter{}, []int{1, 2, 3, 4}},
		{Filter{Last: 2}, []int{3, 4}},
		{Filter{Instrument: "a"}, []int{2, 3, 4}},
		{Filter{Instrument: "a", Last: 1}, []int{4}},
		{Filter{Kind: "measure"}, []int{1, 3}},
		{Filter{Since: at(2), Until: at(4)}, []int{2, 3}},
		{Filter{Instrument: "nobody"}, nil},
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

func TestDeleteIsAllOrNothing(t *testing.T) {
	j := openNew(t)
	one := keep(t, j, Session{}, Reading{F1Hz: 1})
	two := keep(t, j, Session{}, Reading{F1Hz: 2})
	event, err := j.AddEvent(t.Context(), Event{Kind: Remark})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Delete(t.Context(), []int64{one}, []int64{event + 1}); !errors.Is(err, ErrNoEvent) {
		t.Errorf("%v, want ErrNoEvent", err)
	}
	if err := j.Delete(t.Context(), []int64{one, two + 1}, nil); !errors.Is(err, ErrNoSession) {
		t.Errorf("%v, want ErrNoSession", err)
	}
	if _, err := j.Session(t.Context(), one); err != nil {
		t.Errorf("session %d has gone: %v", one, err)
	}
	if err := j.Delete(t.Context(), []int64{one, two}, []int64{event}); err != nil {
		t.Fatal(err)
	}
	var left int
	if err := j.db.QueryRow("SELECT count(*) FROM reading").Scan(&left); err != nil || left != 0 {
		t.Errorf("%d readings of deleted sessions left, %v", left, err)
	}
	if three := keep(t, j, Session{}, Reading{F1Hz: 3}); three <= two {
		t.Errorf("the number %d was given again after %d", three, two)
	}
}

func TestWhatIsNoJournalIsRefused(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	os.WriteFile(text, []byte(strings.Repeat("not a database at all\n", 100)), 0o666)
	foreign := filepath.Join(dir, "foreign.db")
	makeForeign(t, foreign)
	untouched, err := os.ReadFile(foreign)
	if err != nil {
		t.Fatal(err)
	}
	newer := filepath.Join(dir, "newer.db")
	makeNewer(t, newer)
	file := filepath.Join(text, "journal.db")
	for _, c := range []struct{ path, want string }{
		{dir, "is a directory"},
		{text, "this file is not a journal"},
		{foreign, "not a journal of tunerd"},
		{newer, "newer tunerd"},
		{file, "not a directory"},
	} {
		_, err := Open(c.path)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.path) || strings.Contains(err.Error(), "\n") {
			t.Errorf("Open(%s): %v, want one line with the path and %q", c.path, err, c.want)
		}
	}
	if now, err := os.ReadFile(foreign); err != nil || !bytes.Equal(now, untouched) {
		t.Errorf("the database of another program was changed (%v)", err)
	}
	if _, err := OpenExisting(filepath.Join(dir, "none.db")); !errors.Is(err, ErrNone) {
		t.Errorf("%v, want ErrNone", err)
	}
}

// makeForeign makes a database as another program would.
func makeForeign(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TABLE places (url TEXT)"); err != nil {
		t.Fatal(err)
	}
}

func makeNewer(t *testing.T, path string) {
	t.Helper()
	j, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if _, err := j.db.Exec("PRAGMA user_version = 999"); err != nil {
		t.Fatal(err)
	}
}

func TestDefaultPathFollowsXDG(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data")
	if path, err := DefaultPath(); err != nil || path != filepath.FromSlash("/data/tunerd/journal.db") {
		t.Errorf("%s, %v", path, err)
	}
}
