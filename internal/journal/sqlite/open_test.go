package sqlite

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tunerd/internal/journal"
)

// An opened is a journal and the store that it stands on.
type opened struct {
	*journal.Journal
	store *store
}

// openAt is Open.
func openAt(path string) (*opened, error) {
	s, err := open(path, true)
	if err != nil {
		return nil, err
	}
	return &opened{journal.New(s), s}, nil
}

// openNew opens a journal in a folder whose name has what URIs and SQL care about.
func openNew(t testing.TB) *opened {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a b?c#d%41'é", "journal.db")
	j, err := openAt(path)
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
func guitar() journal.Session {
	return journal.Session{
		UID: "00c0ffee00c0ffee", Kind: "listen",
		Started: time.UnixMilli(1760000000123).UTC(), Ended: time.UnixMilli(1760000900456).UTC(),
		Program: "v1", Input: "Bench mic", RateHz: 48000, Clock: journal.Clock{PPM: 12.3, SigmaPPM: 0.2, By: "tone"},
		Instrument: "guitar-41edo-alternate",
		Strings: []journal.String{
			{Number: 1, Label: "E4", TargetHz: 329.6275569128699, GaugeMM: 0.254, LinearDensity: 4.0e-4, Material: "plain steel"},
			{Number: 2, Label: "B♭3 +1", TargetHz: 1.0 / 3},
		},
		Tuning: "41edo", Reference: "A4=440 Hz", Plan: "pure 4:5:6:7", Note: "new strings\nsettling", Data: `{"a":1}`,
	}
}

func someReadings() []journal.Reading {
	unknown := math.NaN()
	return []journal.Reading{
		{TimeS: 0.1, String: 1, Label: "E4", TargetHz: 329.6275569128699, F1Hz: 329.7, SigmaCents: 0.02, Cents: 0.38,
			AttackF1Hz: 329.9, Partial1Hz: 329.69, B: 4e-5, SNRdB: 41.25, FromS: 0.3, ToS: 2, Mark: "left out"},
		{TimeS: 3.7, File: "a.wav", String: 2, Fret: 7, Harmonic: 3, Label: "ő", TargetHz: 100, F1Hz: 5e-324, SigmaCents: math.MaxFloat64,
			Cents: unknown, AttackF1Hz: unknown, Partial1Hz: unknown, B: unknown, SNRdB: unknown, FromS: unknown, ToS: unknown},
	}
}

func keep(t testing.TB, j *opened, s journal.Session, readings ...journal.Reading) int64 {
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
		_, err := openAt(c.path)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.path) || strings.Contains(err.Error(), "\n") {
			t.Errorf("Open(%s): %v, want one line with the path and %q", c.path, err, c.want)
		}
	}
	if now, err := os.ReadFile(foreign); err != nil || !bytes.Equal(now, untouched) {
		t.Errorf("the database of another program was changed (%v)", err)
	}
	if _, err := OpenExisting(filepath.Join(dir, "none.db")); !errors.Is(err, journal.ErrNone) {
		t.Errorf("%v, want journal.ErrNone", err)
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
	j, err := openAt(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if _, err := j.store.db.Exec("PRAGMA user_version = 999"); err != nil {
		t.Fatal(err)
	}
}

func TestDefaultPathFollowsXDG(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data")
	if path, err := DefaultPath(); err != nil || path != filepath.FromSlash("/data/tunerd/journal.db") {
		t.Errorf("%s, %v", path, err)
	}
}

// TestUnsavedComesInByImport: what a locked journal could not take is imported later.
func TestUnsavedComesInByImport(t *testing.T) {
	t.Parallel()
	j := openNew(t)
	rec := j.Begin(guitar(), nil)
	rec.Add(journal.Reading{F1Hz: 1})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	locked := troubles()[0]
	locked.begin(t, j)
	rec.Add(journal.Reading{F1Hz: 2})
	if err := rec.Close(); err == nil {
		t.Error("closed without an error")
	}
	locked.end(t, j)
	var saved bytes.Buffer
	if err := journal.WriteUnsaved(&saved, rec); err != nil {
		t.Fatal(err)
	}
	if got := mustImport(t, j, saved.String()); got != (journal.Imported{Known: 1, Readings: 1}) {
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

func mustImport(t testing.TB, j *opened, text string) journal.Imported {
	t.Helper()
	count, err := j.Import(t.Context(), strings.NewReader(text), int64(len(text)), nil)
	if err != nil {
		t.Fatal(err)
	}
	return count
}

func export(t testing.TB, j *opened, ids ...int64) string {
	t.Helper()
	var b bytes.Buffer
	if err := j.Export(t.Context(), &b, nil, ids...); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// sameReadings compares as they are printed, which tells all floats apart and NaN not from itself.
func sameReadings(a, b []journal.Reading) bool { return fmt.Sprintf("%+v", a) == fmt.Sprintf("%+v", b) }
