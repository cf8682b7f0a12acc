package sqlite

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
)

// closedJournal makes a journal of sessions with readings, some of them long, and an event, and returns its
// path and its export.
func closedJournal(t *testing.T, sessions, readings int) (path, exported string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "journal.db")
	j, err := openAt(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for i := range sessions {
		var list []journal.Reading
		for k := range readings {
			list = append(list, journal.Reading{TimeS: float64(k), String: k%6 + 1, Label: "E4", TargetHz: 330, F1Hz: 330 + float64(i), SigmaCents: 0.02, Cents: 1})
		}
		if i%5 == 4 { // more than a page
			for k := range 60 {
				list = append(list, journal.Reading{TimeS: float64(k), Label: strings.Repeat("x", 100), F1Hz: 100})
			}
		}
		journaltest.Keep(t, j.Journal, journal.Session{UID: fmt.Sprintf("%016x", i), Kind: "listen", Started: time.UnixMilli(1.7e12 + int64(i)*1e6), Instrument: "guitar", Identity: "Guitar: E2"}, list...)
	}
	if _, err := j.AddEvent(t.Context(), journal.Event{Instrument: "guitar", Kind: journal.NewStrings}); err != nil {
		t.Fatal(err)
	}
	return path, journaltest.Export(t, j.Journal)
}

// linesOf are the lines of readings in an export.
func linesOf(exported string) map[string]bool {
	lines := map[string]bool{}
	for line := range strings.Lines(exported) {
		if strings.HasPrefix(line, `{"type":"reading"`) {
			lines[line] = true
		}
	}
	return lines
}

// TestFlippedBitsAreNoticed flips single bits, half of them in the heads of pages. Either the journal gives
// back all, or it says that it is damaged; an export without readings and without a word is never made.
// What salvage writes can be imported, holds no reading that was not there, and lacks at most one
// batch.
func TestFlippedBitsAreNoticed(t *testing.T) {
	path, want := closedJournal(t, 40, 6)
	sound, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all := linesOf(want)
	rng := rand.New(rand.NewPCG(5, 0))
	const (
		flips   = 120
		longest = 66 // readings of a batch
	)
	damaged, most := 0, 0
	for n := range flips {
		data := bytes.Clone(sound)
		bit := rng.IntN(8 * len(data))
		if n%2 == 0 { // of the 12 bytes that a page begins with
			bit = 8*(rng.IntN(len(data)/defaultPage)*defaultPage+rng.IntN(12)) + rng.IntN(8)
		}
		data[bit/8] ^= 1 << (bit % 8)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		os.Remove(path + "-wal")
		os.Remove(path + "-shm")
		got, err := exportOf(path)
		if err == nil {
			if len(linesOf(got)) != len(all) || !isWithin(linesOf(got), all) {
				t.Fatalf("bit %d of byte %d: exported with %d of %d readings, without a word", bit%8, bit/8, len(linesOf(got)), len(all))
			}
			continue
		}
		damaged++
		var saved bytes.Buffer
		told, err := Salvage(path, &saved)
		if err != nil {
			t.Fatalf("bit %d of byte %d: %v", bit%8, bit/8, err)
		}
		kept := linesOf(saved.String())
		if !isWithin(kept, all) || told.Readings != len(kept) {
			t.Fatalf("bit %d of byte %d: salvage made up readings", bit%8, bit/8)
		}
		most = max(most, len(all)-len(kept))
		if n%10 != 0 {
			continue
		}
		other := openNew(t)
		if count := journaltest.Import(t, other.Journal, saved.String()); count.Readings != len(kept) {
			t.Fatalf("%d of %d salvaged readings imported", count.Readings, len(kept))
		}
		other.Close()
	}
	t.Logf("%d of %d flips were damage; salvage lacked at most %d of %d readings", damaged, flips, most, len(all))
	if damaged < flips/4 || most > longest {
		t.Errorf("%d of %d flips were damage; salvage lacked %d of %d readings, want at most %d", damaged, flips, most, len(all), longest)
	}
}

func exportOf(path string) (string, error) {
	j, err := OpenExisting(path)
	if err != nil {
		return "", err
	}
	defer j.Close()
	var b bytes.Buffer
	err = j.Export(context.Background(), &b, nil)
	return b.String(), err
}

func isWithin(part, whole map[string]bool) bool {
	for line := range part {
		if !whole[line] {
			return false
		}
	}
	return true
}

// TestDamageIsTold takes a batch away and spoils another, as no page would show.
func TestDamageIsTold(t *testing.T) {
	path, _ := closedJournal(t, 10, 6)
	j, err := openAt(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	execute(t, j, "DELETE FROM batch WHERE session_id = 3")
	execute(t, j, "UPDATE batch SET data = CAST(replace(hex(data), '41', '42') AS BLOB) WHERE session_id = 7")
	for _, f := range []journal.Filter{{}, {Last: 9}, {IDs: []int64{3, 7}}} {
		d, err := j.Check(t.Context(), f)
		if err != nil || len(d.Sessions) != 2 || d.Sessions[0] != (journal.Loss{ID: 3, Missing: 6, Of: 6}) || d.Sessions[1] != (journal.Loss{ID: 7, Missing: 6, Of: 6}) {
			t.Errorf("%+v: %+v, %v", f, d, err)
		}
	}
	var b bytes.Buffer
	err = j.Export(t.Context(), &b, nil)
	if !errors.Is(err, journal.ErrDamaged) || !strings.Contains(err.Error(), "12 readings are missing (session 3: 6 of 6; session 7: 6 of 6)") || b.Len() > 0 {
		t.Errorf("export: %v, %d bytes", err, b.Len())
	}
	if _, err := j.Readings(t.Context(), 3); !errors.Is(err, journal.ErrDamaged) {
		t.Errorf("readings of session 3: %v", err)
	}
}

// TestSalvageOfASoundJournalIsItsExport, also of one whose last sessions stand in the companion of
// write-ahead mode, and without what was deleted.
func TestSalvageOfASoundJournalIsItsExport(t *testing.T) {
	j := openNew(t)
	for i := range 30 {
		journaltest.Keep(t, j.Journal, journal.Session{Kind: "listen", Note: strings.Repeat("long ", 300), Strings: []journal.String{{Number: 1, Label: "E"}}, Data: `{"a":1}`}, journaltest.Readings()...)
		if i%3 == 0 {
			if err := j.Delete(t.Context(), []int64{int64(i + 1)}, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := j.AddEvent(t.Context(), journal.Event{Instrument: "x", Kind: journal.Remark, Text: "y"}); err != nil {
		t.Fatal(err)
	}
	var saved bytes.Buffer
	told, err := Salvage(j.Path(), &saved)
	if err != nil || told != (Salvaged{Sessions: 20, Readings: 40, Events: 1}) {
		t.Errorf("%+v, %v", told, err)
	}
	if want := journaltest.Export(t, j.Journal); saved.String() != want {
		t.Errorf("salvaged\n%s\nwant\n%s", saved.String(), want)
	}
}

// TestSalvageReadsOldSchemas: a damaged journal cannot be brought to a new one.
func TestSalvageReadsOldSchemas(t *testing.T) {
	for _, file := range []string{"schema1.db", "schema2.db", "schema3.db"} {
		var saved bytes.Buffer
		told, err := Salvage(filepath.Join("testdata", file), &saved)
		if err != nil || told.Sessions != 2 || told.Readings != 3 || told.Missing != 0 || told.Partly != 0 {
			t.Errorf("%s: %+v, %v", file, told, err)
		}
	}
}

// TestDeletedJournalIsWrittenAnew takes the file away in the middle of a session, with and without its
// folder, and puts another journal in its place.
func TestDeletedJournalIsWrittenAnew(t *testing.T) {
	for name, take := range map[string]func(t *testing.T, path string){
		"file":   func(_ *testing.T, path string) { os.Remove(path) },
		"folder": func(_ *testing.T, path string) { os.RemoveAll(filepath.Dir(path)) },
		"another": func(t *testing.T, path string) {
			other, _ := closedJournal(t, 3, 1)
			if err := os.Rename(other, path); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "place", "journal.db")
			j, err := openAt(path)
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			var heard listener
			rec := j.Begin(journaltest.Guitar(), heard.warn)
			rec.Add(journal.Reading{F1Hz: 1})
			if err := rec.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
			take(t, path)
			rec.Add(journal.Reading{F1Hz: 2})
			if err := rec.Close(); err != nil {
				t.Fatal(err)
			}
			if said := heard.said(); len(said) != 1 || !strings.Contains(said[0], "deleted or replaced") || !strings.Contains(said[0], "readings 2") {
				t.Errorf("said %q", said)
			}
			again, err := OpenExisting(path)
			if err != nil {
				t.Fatal(err)
			}
			defer again.Close()
			list, err := again.Readings(t.Context(), rec.ID())
			if err != nil || len(list) != 2 || list[0].F1Hz != 1 || list[1].F1Hz != 2 {
				t.Errorf("in the new journal: %+v, %v", list, err)
			}
			if s, err := again.Session(t.Context(), rec.ID()); err != nil || s.UID != journaltest.Guitar().UID || s.Ended.IsZero() {
				t.Errorf("in the new journal: %+v, %v", s, err)
			}
		})
	}
}

// TestLostForGoodIsHandedBack: where no new journal can be made, all readings are handed back.
func TestLostForGoodIsHandedBack(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "place")
	j, err := openAt(filepath.Join(dir, "journal.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	rec := j.Begin(journaltest.Guitar(), nil)
	rec.Add(journal.Reading{F1Hz: 1})
	if err := rec.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	os.RemoveAll(dir)
	if err := os.WriteFile(dir, nil, 0o600); err != nil { // a file where the folder was
		t.Fatal(err)
	}
	rec.Add(journal.Reading{F1Hz: 2})
	if err := rec.Close(); err == nil {
		t.Error("closed without an error")
	}
	if _, b := rec.Unsaved(); b.First != 1 || len(b.Readings) != 2 {
		t.Errorf("handed back %+v", b)
	}
}

// readerEnv makes the test binary list the journal that it names.
const readerEnv = "TUNERD_TEST_READER"

func listAndEnd(path string) {
	j, err := OpenExisting(path)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	got, err := exportOf(path)
	noteErr := j.Note(context.Background(), 1, "x")
	fmt.Printf("%d readings, %v; note: %v", len(linesOf(got)), err, noteErr)
	j.Close()
	os.Exit(0)
}

// TestReadOnlyJournalIsRead by somebody who may write neither the file nor its folder, also when it is of
// an older schema, or was left with its companions.
func TestReadOnlyJournalIsRead(t *testing.T) {
	root := t.TempDir()
	for dir := root; dir != filepath.Dir(dir) && strings.HasPrefix(dir, os.TempDir()+"/"); dir = filepath.Dir(dir) {
		os.Chmod(dir, 0o755)
	}
	self, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(root, "reader")
	if err := os.WriteFile(program, self, 0o755); err != nil {
		t.Fatal(err)
	}
	sound, _ := closedJournal(t, 4, 6)
	for name, from := range map[string]string{"new": sound, "old": filepath.Join("testdata", "schema2.db")} {
		dir := filepath.Join(root, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "journal.db")
		if err := copyFile(from, path); err != nil {
			t.Fatal(err)
		}
		os.Chmod(path, 0o444)
		os.Chmod(dir, 0o555)
		defer os.Chmod(dir, 0o755)
		reader := exec.Command(program)
		reader.Env = append(os.Environ(), readerEnv+"="+path, "TMPDIR=/tmp")
		if os.Geteuid() == 0 { // who may write everything
			reader.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		}
		out, err := reader.CombinedOutput()
		want := map[string]string{"new": "24 readings, <nil>", "old": "3 readings, <nil>"}[name]
		if err != nil || !strings.Contains(string(out), want) || !strings.Contains(string(out), "it may not be written to") {
			t.Errorf("%s: %s (%v), want %s, and no note", name, out, err, want)
		}
	}
}

// FuzzSalvage spoils a journal at some places, and wants salvage to end with what can be written as an
// export.
func FuzzSalvage(f *testing.F) {
	var files [][]byte
	for _, name := range []string{"schema1.db", "schema3.db"} {
		data, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			f.Fatal(err)
		}
		files = append(files, data)
	}
	rng := rand.New(rand.NewPCG(9, 0))
	for range 100 {
		spoil := make([]byte, 4*(1+rng.IntN(20)))
		for i := range spoil {
			spoil[i] = byte(rng.Uint32())
		}
		f.Add(uint8(rng.IntN(2)), spoil)
	}
	f.Fuzz(func(t *testing.T, which uint8, spoil []byte) {
		data := bytes.Clone(files[int(which)%len(files)])
		for ; len(spoil) >= 4; spoil = spoil[4:] { // page, place on it, value
			at := int(spoil[0])*defaultPage + int(spoil[1])
			if spoil[2]&1 != 0 { // anywhere on the page
				at += int(spoil[2]) << 4
			}
			data[at%len(data)] = spoil[3]
		}
		var saved bytes.Buffer
		if _, err := salvageFrom(data, &saved); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(saved.String()) {
			if !json.Valid([]byte(line)) {
				t.Fatalf("%q is no JSON", line)
			}
		}
	})
}
