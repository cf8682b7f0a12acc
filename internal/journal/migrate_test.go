package journal

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"
)

// TestOldJournalMigrates opens a journal that was written when the schema was 1: what was in it is
// still there, and what is new since works.
func TestOldJournalMigrates(t *testing.T) {
	old, err := os.ReadFile("testdata/schema1.db")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "journal.db")
	if err := os.WriteFile(path, old, 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time there is nothing to migrate
		j, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if v, err := j.schemaVersion(t.Context()); err != nil || v != len(migrations) {
			t.Errorf("schema %d, %v; want %d", v, err, len(migrations))
		}
		checkOld(t, j)
		if _, err := j.AddEvent(t.Context(), Event{Instrument: guitar().Instrument, Kind: NewStrings}); err != nil {
			t.Error(err)
		}
		keep(t, j, Session{}, Reading{F1Hz: 1})
		j.Close()
	}
}

// checkOld wants the two sessions that the file was made with.
func checkOld(t *testing.T, j *Journal) {
	t.Helper()
	want := guitar()
	want.ID, want.Readings = 1, 2
	got, err := j.Session(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(*got, want) {
		t.Errorf("session\n%+v\nwant\n%+v", *got, want)
	}
	for id, readings := range map[int64][]Reading{1: someReadings(), 2: someReadings()[1:]} {
		if back, err := j.Readings(t.Context(), id); err != nil || !sameReadings(back, readings) {
			t.Errorf("session %d: readings\n%+v, %v\nwant\n%+v", id, back, err, readings)
		}
	}
}

// TestTwoProcessesMayMakeTheJournal at the same time.
func TestTwoProcessesMayMakeTheJournal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	errs := make(chan error)
	const n = 8
	for range n {
		go func() {
			j, err := Open(path)
			if err == nil {
				_, err = j.AddEvent(t.Context(), Event{At: time.UnixMilli(1)})
				j.Close()
			}
			errs <- err
		}()
	}
	for range n {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}
