package sqlite

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"tunerd/internal/fault"
	"tunerd/internal/journal"
)

// A Salvaged says what was found in a damaged journal.
type Salvaged struct {
	Sessions, Readings, Events int
	Missing                    int // readings of these sessions that are not intact
	Bare                       int // sessions of which only readings are left
	Partly                     int // sessions whose strings and data are lost
}

// Salvage writes what is intact in the journal at path, as journal.Export does, and leaves the journal as
// it is. Every page is read for itself: what stands on a damaged one is lost, and nothing else.
func Salvage(path string, w io.Writer) (Salvaged, error) {
	path, err := find(path)
	if err != nil {
		return Salvaged{}, err
	}
	data, err := settled(path)
	if err != nil {
		return Salvaged{}, fault.Errorf(fault.Storage, "%s: %w", path, err)
	}
	told, err := salvageFrom(data, w)
	if err != nil {
		return Salvaged{}, fault.Errorf(fault.Storage, "%s: %w", path, err)
	}
	return told, nil
}

// salvageFrom is Salvage of the bytes of a file.
func salvageFrom(data []byte, w io.Writer) (Salvaged, error) {
	m, err := newImage(data)
	if err != nil {
		return Salvaged{}, err
	}
	s := salvage{sessions: map[string]*saved{}, byID: map[int64]*saved{}, events: map[string]journal.Event{}}
	for n := 1; n <= m.pages(); n++ {
		m.records(n, s.take)
	}
	s.gather(m)
	return s.write(w)
}

// settled returns the bytes of the file, with what its companion of write-ahead mode has if SQLite can
// still bring the two together.
func settled(path string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "tunerd-salvage-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	to := filepath.Join(dir, "journal.db")
	if err := copyFile(path, to); err != nil {
		return nil, err
	}
	if err := copyFile(path+"-wal", to+"-wal"); err == nil {
		if db, err := sql.Open("sqlite", dsn(to)); err == nil {
			// What fails here is what damaged files do; then the file is read without it.
			_, _ = db.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)")
			db.Close()
		}
	} else if !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	return os.ReadFile(to)
}

// A salvage gathers what the pages hold.
type salvage struct {
	sessions map[string]*saved // by UID
	byID     map[int64]*saved
	events   map[string]journal.Event
	batches  []foundBatch
	old      []oldReading
	reader   journal.BatchReader
}

// A saved is a session as far as it was found.
type saved struct {
	journal.Session
	isWhole  bool // from its table, with strings and data
	isBare   bool // of its readings only
	readings map[int]journal.Reading
}

type foundBatch struct {
	uid string
	journal.Batch
}

// An oldReading is a row of the schemas before batches.
type oldReading struct {
	session int64
	seq     int
	journal.Reading
}

// Columns of the rows that are looked for. A row that was written before a column was added is shorter.
const (
	sessionWidth, oldSessionWidth = 20, 19 // of table session
	listWidth                     = 18     // of index session_list, with the row number at its end
	eventWidth, oldEventWidth     = 8, 7   // of table event
	batchWidth                    = 4
	oldReadingWidth               = 19
)

// take sorts a record to what it is.
func (s *salvage) take(kind byte, row int64, r record) {
	switch n := len(r); {
	case kind == leafTable && (n == sessionWidth || n == oldSessionWidth):
		s.session(row, r)
	case kind == leafTable && (n == eventWidth || n == oldEventWidth):
		s.event(row, r)
	case kind != leafTable && n == listWidth:
		s.listed(r)
	case kind != leafTable && n == batchWidth:
		s.batch(r)
	case kind != leafTable && n == oldReadingWidth:
		s.oldReading(r)
	}
}

func (s *salvage) session(row int64, r record) {
	f := fields{r[1:], true}
	var x journal.Session
	x.ID, x.UID, x.Kind, x.Started, x.Ended = row, f.text(), f.text(), f.time(), f.time()
	x.Program, x.Input, x.RateHz = f.text(), f.text(), int(f.whole())
	x.Clock = journal.Clock{PPM: f.number(), SigmaPPM: f.number(), By: f.text()}
	x.Instrument = f.text()
	strung := f.text()
	x.Tuning, x.Reference, x.Plan, x.Note, x.Data, x.Readings = f.text(), f.text(), f.text(), f.text(), f.text(), int(f.whole())
	if len(f.rest) > 0 {
		x.Identity = f.text()
	}
	if !f.ok || x.UID == "" || json.Unmarshal([]byte(strung), &x.Strings) != nil {
		return
	}
	s.add(&saved{Session: x, isWhole: true})
}

// time is zero for null.
func (f *fields) time() time.Time {
	if len(f.rest) > 0 && f.rest[0] == nil {
		f.next()
		return time.Time{}
	}
	return time.UnixMilli(f.whole()).UTC()
}

// listed takes a session from the index of the listing, which has no strings and no data.
func (s *salvage) listed(r record) {
	f := fields{r, true}
	var x journal.Session
	x.Started, x.UID, x.Kind, x.Ended = f.time(), f.text(), f.text(), f.time()
	x.Program, x.Input, x.RateHz = f.text(), f.text(), int(f.whole())
	x.Clock = journal.Clock{PPM: f.number(), SigmaPPM: f.number(), By: f.text()}
	x.Instrument, x.Identity, x.Tuning, x.Reference, x.Plan, x.Note = f.text(), f.text(), f.text(), f.text(), f.text(), f.text()
	x.Readings, x.ID = int(f.whole()), f.whole()
	if f.ok && x.UID != "" {
		s.add(&saved{Session: x})
	}
}

// add keeps the fuller of two finds.
func (s *salvage) add(x *saved) {
	if old := s.sessions[x.UID]; old == nil || x.isWhole && !old.isWhole {
		s.sessions[x.UID], s.byID[x.ID] = x, x
	}
}

func (s *salvage) event(row int64, r record) {
	f := fields{r[1:], true}
	e := journal.Event{ID: row, UID: f.text(), At: f.time(), Instrument: f.text(), String: int(f.whole()), Kind: f.text(), Text: f.text()}
	if len(f.rest) > 0 {
		e.Identity = f.text()
	}
	if f.ok && e.UID != "" && (e.Kind == journal.NewStrings || e.Kind == journal.Remark) {
		s.events[e.UID] = e
	}
}

func (s *salvage) batch(r record) {
	data, ok := r[3].([]byte)
	if !ok {
		return
	}
	if uid, b, _, err := s.reader.Read(data, nil); err == nil {
		s.batches = append(s.batches, foundBatch{uid, b})
	}
}

func (s *salvage) oldReading(r record) {
	f := fields{r, true}
	x := oldReading{session: f.whole(), seq: int(f.whole())}
	x.File, x.String, x.Fret, x.Harmonic = f.text(), int(f.whole()), int(f.whole()), int(f.whole())
	x.Label, x.Mark = f.text(), f.text()
	for _, to := range []*float64{&x.TimeS, &x.TargetHz, &x.F1Hz, &x.SigmaCents, &x.Cents, &x.AttackF1Hz, &x.Partial1Hz, &x.B, &x.SNRdB, &x.FromS, &x.ToS} {
		*to = f.number()
	}
	if f.ok && x.seq > 0 {
		s.old = append(s.old, x)
	}
}

// gather puts the readings to their sessions. A sound batch without one stands alone: its session is lost.
func (s *salvage) gather(m *image) {
	for _, b := range s.batches {
		if s.sessions[b.uid] == nil {
			s.sessions[b.uid] = &saved{Session: journal.Session{UID: b.uid, Started: time.UnixMilli(0).UTC()}, isBare: true}
		}
		s.sessions[b.uid].put(b.Batch)
	}
	for _, r := range s.old {
		if x := s.byID[r.session]; x != nil {
			x.put(journal.Batch{First: r.seq, Readings: []journal.Reading{r.Reading}})
		}
	}
	s.search(m)
}

func (x *saved) put(b journal.Batch) {
	if x.readings == nil {
		x.readings = map[int]journal.Reading{}
	}
	for i, r := range b.Readings {
		x.readings[b.First+i] = r
	}
}

// search looks, for sessions that lack readings, through all pages for the marks of batches: where the
// head of a page is damaged, what stands on it is still there. What was deleted is there, too, for
// a while; it belongs to no session any more.
func (s *salvage) search(m *image) {
	for n := 1; n <= m.pages(); n++ {
		if m.free[n] {
			continue
		}
		p := m.at(n)
		for from := 0; ; {
			i := bytes.Index(p[from:], []byte(journal.BatchMark))
			if i < 0 {
				break
			}
			s.around(m, p, from+i)
			from += i + 1
		}
	}
}

// beforeMark is how many bytes of its cell can stand before a batch: sizes, types and three numbers.
const beforeMark = 40

// around tries to read the batch whose mark stands there on a page: as a cell, which may go on on other
// pages, and by itself.
func (s *salvage) around(m *image, p []byte, mark int) {
	for at := max(0, mark-beforeMark); at < mark; at++ {
		if _, r, ok := m.cell(leafIndex, p, at); ok && len(r) == batchWidth {
			if data, ok := r[3].([]byte); ok && s.found(data) {
				return
			}
		}
	}
	if size := journal.SizeOf(p[mark:]); size > 0 {
		s.found(p[mark : mark+size])
	}
}

// found puts a batch to its session if that lacks readings, and tells whether it is sound.
func (s *salvage) found(data []byte) bool {
	uid, b, _, err := s.reader.Read(data, nil)
	if err != nil {
		return false
	}
	if x := s.sessions[uid]; x != nil && len(x.readings) < x.Readings {
		x.put(b)
	}
	return true
}

func (s *salvage) write(w io.Writer) (Salvaged, error) {
	list := slices.SortedFunc(maps.Values(s.sessions), func(a, b *saved) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.UID, b.UID))
	})
	events := slices.SortedFunc(maps.Values(s.events), func(a, b journal.Event) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.UID, b.UID))
	})
	told := Salvaged{Sessions: len(list), Events: len(events)}
	sessions := make([]journal.Session, len(list))
	for i, x := range list {
		sessions[i] = x.Session
		told.Readings += len(x.readings)
		told.Missing += max(0, x.Readings-len(x.readings))
		switch {
		case x.isBare:
			told.Bare++
		case !x.isWhole:
			told.Partly++
		}
	}
	err := journal.WriteSaved(w, sessions, func(i int) []journal.Batch { return list[i].batches() }, events)
	return told, err
}

// batches are the readings in their order.
func (x *saved) batches() []journal.Batch {
	var all []journal.Batch
	for _, seq := range slices.Sorted(maps.Keys(x.readings)) {
		all = append(all, journal.Batch{First: seq, Readings: []journal.Reading{x.readings[seq]}})
	}
	return all
}
