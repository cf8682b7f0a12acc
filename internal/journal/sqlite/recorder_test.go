package sqlite

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
)

// A listener keeps what a recorder warns of.
type listener struct {
	mu    sync.Mutex
	lines []string
}

func (l *listener) warn(line string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, line)
}

func (l *listener) said() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]string(nil), l.lines...)
}

// trouble is a way in which the disk fails, and how it ends.
type trouble struct {
	name, word string
	begin, end func(t *testing.T, j *opened)
}

// troubles are made with SQLite's own means: a lock held by another connection; and a limit to
// the pages of the file, which gives the same error as a full disk.
func troubles() []trouble {
	var blocker *opened
	return []trouble{
		{"locked", "another program keeps it locked", func(t *testing.T, j *opened) {
			var err error
			if blocker, err = openAt(j.Path()); err != nil {
				t.Fatal(err)
			}
			blocker.store.db.SetMaxOpenConns(1)
			execute(t, blocker, "BEGIN EXCLUSIVE")
		}, func(t *testing.T, j *opened) {
			execute(t, blocker, "ROLLBACK")
			blocker.Close()
		}},
		{"full disk", "the disk is full", func(t *testing.T, j *opened) {
			execute(t, j, "PRAGMA max_page_count = 1") // SQLite makes it the pages that there are
		}, func(t *testing.T, j *opened) {
			execute(t, j, "PRAGMA max_page_count = 1000000")
		}},
	}
}

func execute(t *testing.T, j *opened, statement string) {
	t.Helper()
	if _, err := j.store.db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

// bulky returns a reading that fills a good part of a page.
func bulky(i int) journal.Reading {
	return journal.Reading{F1Hz: float64(i), Label: strings.Repeat("x", 1000)}
}

// TestTroubleLosesNoReading lets the disk fail in the middle of a session: one line tells of it,
// whoever adds readings goes on, and once the trouble is over all of them are stored.
func TestTroubleLosesNoReading(t *testing.T) {
	const before, during = 3, 200
	for _, trouble := range troubles() {
		t.Run(trouble.name, func(t *testing.T) {
			t.Parallel() // locks take their time
			j := openNew(t)
			j.store.db.SetMaxOpenConns(1) // for max_page_count, which is of a connection
			var heard listener
			rec := j.Begin(journal.Session{}, heard.warn)
			for i := range before {
				rec.Add(bulky(i))
			}
			if err := rec.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
			trouble.begin(t, j)
			for i := range during {
				rec.Add(bulky(before + i))
			}
			for range 2 {
				if err := rec.Flush(t.Context()); err == nil || !strings.Contains(err.Error(), trouble.word) {
					t.Errorf("stored in spite of it: %v", err)
				}
			}
			if lines := heard.said(); len(lines) != 1 || !strings.Contains(lines[0], trouble.word) ||
				!strings.Contains(lines[0], fmt.Sprintf("readings wait in memory (%d)", during)) || strings.Contains(lines[0], "\n") {
				t.Errorf("said %q, want one line with %q", lines, trouble.word)
			}
			if _, b := rec.Unsaved(); len(b.Readings) != during || b.First != before+1 {
				t.Errorf("%d readings wait from number %d, want %d from %d", len(b.Readings), b.First, during, before+1)
			}
			trouble.end(t, j)
			if err := rec.Close(); err != nil {
				t.Fatal(err)
			}
			if lines := heard.said(); len(lines) != 2 || !strings.Contains(lines[1], "works again") {
				t.Errorf("said %q, want a second line that it works again", lines)
			}
			list, err := j.Readings(t.Context(), rec.ID())
			if err != nil || len(list) != before+during {
				t.Fatalf("%d readings stored, want %d (%v)", len(list), before+during, err)
			}
			for i, r := range list {
				if r.F1Hz != float64(i) {
					t.Fatalf("reading %d is number %g", i, r.F1Hz)
				}
			}
		})
	}
}

// TestCloseHandsBackWhatItCannotStore ends a session while the file is locked.
func TestCloseHandsBackWhatItCannotStore(t *testing.T) {
	t.Parallel()
	j := openNew(t)
	locked := troubles()[0]
	locked.begin(t, j)
	defer locked.end(t, j)
	rec := j.Begin(journaltest.Guitar(), nil)
	rec.Add(journal.Reading{F1Hz: 110})
	if err := rec.Close(); err == nil {
		t.Fatal("closed without an error")
	}
	s, b := rec.Unsaved()
	unsaved := b.Readings
	if s.UID != journaltest.Guitar().UID || s.Ended.IsZero() || len(unsaved) != 1 || unsaved[0].F1Hz != 110 {
		t.Errorf("handed back %+v, %+v", s, unsaved)
	}
	if err := rec.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
}
