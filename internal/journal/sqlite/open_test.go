package sqlite

import (
	"bytes"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
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
	rec := j.Begin(journaltest.Guitar(), nil)
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
	if got := journaltest.Import(t, j.Journal, saved.String()); got != (journal.Imported{Known: 1, Readings: 1}) {
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
