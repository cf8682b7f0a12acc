package journal

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"
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
	begin, end func(t *testing.T, j *Journal)
}

// troubles are made with SQLite's own means: a lock held by another connection; and a limit to
// the pages of the file, which gives the same error as a full disk.
func troubles() []trouble {
	var blocker *Journal
	return []trouble{
		{"locked", "another program keeps it locked", func(t *testing.T, j *Journal) {
			var err error
			if blocker, err = Open(j.Path()); err != nil {
				t.Fatal(err)
			}
			blocker.db.SetMaxOpenConns(1)
			execute(t, blocker, "BEGIN EXCLUSIVE")
		}, func(t *testing.T, j *Journal) {
			execute(t, blocker, "ROLLBACK")
			blocker.Close()
		}},
		{"full disk", "the disk is full", func(t *testing.T, j *Journal) {
			execute(t, j, "PRAGMA max_page_count = 1") // SQLite makes it the pages that there are
		}, func(t *testing.T, j *Journal) {
			execute(t, j, "PRAGMA max_page_count = 1000000")
		}},
	}
}

func execute(t *testing.T, j *Journal, statement string) {
	t.Helper()
	if _, err := j.db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

// bulky returns a reading that fills a good part of a page.
func bulky(i int) Reading {
	return Reading{F1Hz: float64(i), Label: strings.Repeat("x", 1000)}
}

// TestTroubleLosesNoReading lets the disk fail in the middle of a session: one line tells of it,
// whoever adds readings goes on, and once the trouble is over all of them are stored.
func TestTroubleLosesNoReading(t *testing.T) {
	const before, during = 3, 200
	for _, trouble := range troubles() {
		t.Run(trouble.name, func(t *testing.T) {
			t.Parallel() // locks take their time
			j := openNew(t)
			j.db.SetMaxOpenConns(1) // for max_page_count, which is of a connection
			var heard listener
			rec := j.Begin(Session{}, heard.warn)
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
			if _, unsaved := rec.Unsaved(); len(unsaved) != during {
				t.Errorf("%d readings wait, want %d", len(unsaved), during)
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
	rec := j.Begin(guitar(), nil)
	rec.Add(Reading{F1Hz: 110})
	if err := rec.Close(); err == nil {
		t.Fatal("closed without an error")
	}
	s, unsaved := rec.Unsaved()
	if s.UID != guitar().UID || s.Ended.IsZero() || len(unsaved) != 1 || unsaved[0].F1Hz != 110 {
		t.Errorf("handed back %+v, %+v", s, unsaved)
	}
	if err := rec.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
}

// TestAddNeverWaits adds while a transaction is held open: readings are taken in at once, however
// long that lasts. Add returns or the test hangs.
func TestAddNeverWaits(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{}, nil)
	rec.storing.Lock()
	for i := range 10000 {
		rec.Add(Reading{F1Hz: float64(i)})
	}
	rec.storing.Unlock()
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err := j.Session(t.Context(), rec.ID()); err != nil || s.Readings != 10000 {
		t.Errorf("%+v, %v", s, err)
	}
}

// TestReadingsAreStoredUnasked waits for the background to store, as in a session that goes on.
func TestReadingsAreStoredUnasked(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{}, nil)
	for want := 1; want <= 2; want++ {
		rec.Add(Reading{F1Hz: 1})
		for {
			if list, err := j.Sessions(t.Context(), Filter{}); err != nil {
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
	if next := keep(t, j, Session{}, Reading{}); next != rec.ID()+1 {
		t.Errorf("session %d is followed by %d: numbers were used up", rec.ID(), next)
	}
}
