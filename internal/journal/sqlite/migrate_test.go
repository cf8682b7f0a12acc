package sqlite

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
)

// oldEvent is in the journals of schema 2.
var oldEvent = journal.Event{ID: 1, UID: "feedfacefeedface", At: time.UnixMilli(1760000500000).UTC(), Instrument: "x", String: 2, Kind: journal.NewStrings, Text: "light"}

// TestOldJournalsMigrate opens journals that were written when the schema was 1, 2 and 3: what was in
// them is still there, and what is new since works.
func TestOldJournalsMigrate(t *testing.T) {
	for _, c := range []struct {
		file   string
		events []journal.Event
	}{{"schema1.db", nil}, {"schema2.db", []journal.Event{oldEvent}}, {"schema3.db", []journal.Event{oldEvent}}} {
		old, err := os.ReadFile(filepath.Join("testdata", c.file))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "journal.db")
		if err := os.WriteFile(path, old, 0o600); err != nil {
			t.Fatal(err)
		}
		for range 2 { // the second time there is nothing to migrate
			j, err := openAt(path)
			if err != nil {
				t.Fatal(err)
			}
			if v, err := schemaVersion(t.Context(), j.store.db); err != nil || v != len(migrations) {
				t.Errorf("%s: schema %d, %v; want %d", c.file, v, err, len(migrations))
			}
			checkOld(t, j)
			if events, err := j.Events(t.Context(), journal.Instrument{Name: "x"}); err != nil || !reflect.DeepEqual(events, c.events) {
				t.Errorf("%s: events %+v, %v; want %+v", c.file, events, err, c.events)
			}
			if _, err := j.AddEvent(t.Context(), journal.Event{Instrument: "y", Kind: journal.NewStrings}); err != nil {
				t.Error(err)
			}
			journaltest.Keep(t, j.Journal, journal.Session{}, journal.Reading{F1Hz: 1})
			j.Close()
		}
	}
}

// checkOld wants the two sessions that the file was made with.
func checkOld(t *testing.T, j *opened) {
	t.Helper()
	want := journaltest.Guitar()
	want.ID, want.Readings = 1, 2
	got, err := j.Session(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(*got, want) {
		t.Errorf("session\n%+v\nwant\n%+v", *got, want)
	}
	for id, readings := range map[int64][]journal.Reading{1: journaltest.Readings(), 2: journaltest.Readings()[1:]} {
		if back, err := j.Readings(t.Context(), id); err != nil || !journaltest.SameReadings(back, readings) {
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
			j, err := openAt(path)
			if err == nil {
				_, err = j.AddEvent(t.Context(), journal.Event{At: time.UnixMilli(1)})
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
