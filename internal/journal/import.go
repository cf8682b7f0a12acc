package journal

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// maxLine is more than any line of an export takes, in bytes.
const maxLine = 16 << 20

// Imported counts what an import has found.
type Imported struct {
	Sessions, Readings, Events int // that are new in the journal
	Known                      int // sessions and events that were there already
}

// Import reads an export into the journal: all of it, or, if a line is wrong or impossible, nothing. What
// is there already, told by UIDs and by the order of readings, is left as it is, so that to import
// twice does nothing, and the later export of a session that has gone on adds what is new. Size is that
// of r in bytes, for progress; 0: not known.
func (j *Journal) Import(ctx context.Context, r io.Reader, size int64, progress Progress) (Imported, error) {
	var in importer
	err := j.store.Merge(ctx, func(m Merger) error {
		in = importer{to: m, sessions: map[string]*importing{}}
		ctx, stop := context.WithCancel(ctx)
		lines := readLines(ctx, r)
		defer func() { // the reader is left before r is given back
			stop()
			for range lines {
			}
		}()
		for item := range lines {
			if err := cmp.Or(item.err, in.take(&item)); err != nil {
				return err
			}
			progress.tell(item.done, size)
		}
		return errors.Join(ctx.Err(), in.recount())
	})
	if err != nil {
		return Imported{}, stored(err)
	}
	return in.count, nil
}

// An imported line, or several lines of readings that follow one another. One of the fields is set.
type importItem struct {
	session *Session
	uid     string // of the session of batch
	batch   Batch
	event   *Event
	err     error

	done int64 // bytes read so far
}

// itemsAhead is how many items are read ahead of the store.
const itemsAhead = 256

// readLines reads lines in a goroutine of its own, as that takes as long as the store does. After an error
// nothing follows. It reads until ctx ends.
func readLines(ctx context.Context, r io.Reader) <-chan importItem {
	p := lineReader{ctx: ctx, out: make(chan importItem, itemsAhead), seen: map[string]bool{}}
	go func() {
		defer close(p.out)
		if err := p.read(r); err != nil {
			p.send(importItem{err: err})
		}
	}()
	return p.out
}

// A lineReader makes items of the lines of an export, and looks whether they can be.
type lineReader struct {
	ctx  context.Context
	out  chan importItem
	seen map[string]bool // sessions, by UID
	scan lineScanner
	line readingLine
	run  importItem // readings that follow one another, not sent yet
	done int64
}

func (p *lineReader) send(item importItem) {
	item.done = p.done
	select {
	case p.out <- item:
	case <-p.ctx.Done():
	}
}

// flush sends the readings that wait.
func (p *lineReader) flush() {
	if len(p.run.batch.Readings) > 0 {
		p.send(p.run)
		p.run = importItem{}
	}
}

func (p *lineReader) read(r io.Reader) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, exportBuffer), maxLine)
	n, begun := 0, false
	for lines.Scan() && p.ctx.Err() == nil {
		n++
		p.done += int64(len(lines.Bytes())) + 1
		line := bytes.TrimSpace(bytes.TrimPrefix(lines.Bytes(), []byte("\ufeff")))
		if len(line) == 0 {
			continue
		}
		take := p.take
		if !begun {
			take, begun = p.head, true
		}
		if err := take(line); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("line %d: %w", n+1, err)
	}
	if !begun {
		return errors.New("line 1: nothing there to import")
	}
	p.flush()
	return nil
}

func (p *lineReader) head(line []byte) error {
	var head headLine
	switch err := json.Unmarshal(line, &head); {
	case err != nil || head.Type != "journal":
		return errors.New(`this is no exported journal: it does not begin with {"type":"journal"}`)
	case head.Format != exchangeFormat:
		return fmt.Errorf("written in format %d, this tunerd knows format %d", head.Format, exchangeFormat)
	}
	return nil
}

func (p *lineReader) take(line []byte) error {
	if p.scan.reading(line, &p.line) {
		return p.reading()
	}
	var session sessionLine
	if p.scan.session(line, &session) {
		return p.session(&session)
	}
	head := headLine{Type: "session"}
	if !bytes.HasPrefix(line, []byte(sessionStart)) {
		if err := json.Unmarshal(line, &head); err != nil {
			return plainJSON(err)
		}
	}
	switch head.Type {
	case "session":
		session = sessionLine{}
		if err := json.Unmarshal(line, &session); err != nil {
			return plainJSON(err)
		}
		return p.session(&session)
	case "reading":
		p.line = unknownReading
		if err := json.Unmarshal(line, &p.line); err != nil {
			return plainJSON(err)
		}
		return p.reading()
	case "event":
		return p.event(line)
	}
	return fmt.Errorf("type %q is not session, reading or event", head.Type)
}

// plainJSON leaves out of an error of encoding/json what tells the user nothing.
func plainJSON(err error) error {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Errorf("%s cannot be a %s", wrong.Field, wrong.Value)
	}
	return errors.New(strings.TrimPrefix(err.Error(), "json: "))
}

func (p *lineReader) session(l *sessionLine) error {
	p.flush()
	s := l.session()
	if s.UID == "" {
		return errors.New("a session needs a uid")
	}
	if err := s.possible(); err != nil {
		return err
	}
	p.seen[s.UID] = true
	p.send(importItem{session: &s})
	return nil
}

// reading takes p.line.
func (p *lineReader) reading() error {
	l := &p.line
	run := &p.run
	uid := l.Session
	if n := len(run.batch.Readings); n == 0 || uid != run.uid || l.Seq != run.batch.First+n || n >= MaxBatch {
		p.flush()
		if uid = plainText(uid); !p.seen[uid] {
			return fmt.Errorf("session %q of the reading does not stand before it", l.Session)
		}
		run.uid, run.batch.First = uid, l.Seq
	}
	r := l.reading()
	if err := r.possible(l.Seq); err != nil {
		return err
	}
	run.batch.Readings = append(run.batch.Readings, r)
	return nil
}

func (p *lineReader) event(line []byte) error {
	p.flush()
	var l eventLine
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	e := l.event()
	if e.UID == "" {
		return errors.New("an event needs a uid")
	}
	if err := e.possible(); err != nil {
		return err
	}
	p.send(importItem{event: &e})
	return nil
}

// An importer merges items into a store.
type importer struct {
	to       Merger
	sessions map[string]*importing // seen, by UID
	waits    *importing            // a new session that is added with its first readings
	count    Imported
}

// An importing is a session that the import has seen.
type importing struct {
	Session
	have Spans // numbers of its readings
}

func (in *importer) take(item *importItem) error {
	switch {
	case item.session != nil:
		return errors.Join(in.add(nil), in.session(item.session))
	case item.event != nil:
		isNew, err := in.to.Event(item.event)
		if isNew {
			in.count.Events++
		} else {
			in.count.Known++
		}
		return errors.Join(in.add(nil), err)
	}
	return in.readings(in.sessions[item.uid], item.batch)
}

func (in *importer) session(s *Session) error {
	id, have, err := in.to.Find(s.UID)
	if err != nil {
		return err
	}
	known := in.sessions[s.UID]
	if known == nil {
		known = &importing{Session: *s, have: have}
		in.sessions[s.UID] = known
	}
	if id == 0 {
		in.count.Sessions++
		in.waits = known
		return nil
	}
	in.count.Known++
	if known.ID == 0 {
		known.ID, known.Readings = id, have.Count()
	}
	if !s.Ended.IsZero() {
		return in.to.End(id, s.Ended)
	}
	return nil
}

// add adds the session that waits, with the count of the readings that come with it. Of another than of,
// or of nil, there are none.
func (in *importer) add(of *importing) (err error) {
	s := in.waits
	if s == nil {
		return nil
	}
	in.waits = nil
	if s.Readings = 0; s == of {
		s.Readings = s.have.Count()
	}
	s.ID, err = in.to.Add(&s.Session)
	return err
}

// readings adds those of a batch whose numbers are new.
func (in *importer) readings(s *importing, b Batch) error {
	for len(b.Readings) > 0 {
		n := 0
		isKnown := s.have.Has(b.First)
		for n < len(b.Readings) && s.have.Has(b.First+n) == isKnown {
			n++
		}
		run := Batch{b.First, b.Readings[:n]}
		b.First, b.Readings = b.First+n, b.Readings[n:]
		if isKnown {
			continue
		}
		s.have = s.have.Add(run.span())
		in.count.Readings += n
		if err := errors.Join(in.add(s), in.to.Readings(&s.Session, run)); err != nil {
			return err
		}
	}
	return nil
}

// recount sets the count of readings of what has more than it was added with.
func (in *importer) recount() error {
	if err := in.add(nil); err != nil {
		return err
	}
	for _, s := range in.sessions {
		if n := s.have.Count(); n != s.Readings {
			if err := in.to.Count(s.ID, n); err != nil {
				return err
			}
		}
	}
	return nil
}
