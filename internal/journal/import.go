package journal

import (
	"bufio"
	"bytes"
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
		in = importer{to: m, sessions: map[string]*importing{}, progress: progress, size: size}
		return in.read(ctx, r)
	})
	if err != nil {
		return Imported{}, named(err)
	}
	return in.count, nil
}

type importer struct {
	to       Merger
	sessions map[string]*importing // seen, by UID
	count    Imported
	scan     lineScanner
	line     readingLine

	// Readings that wait to be added, all of one session and following one another.
	of    *importing
	batch Batch

	progress   Progress
	size, done int64 // bytes
}

// An importing is a session that the import has seen.
type importing struct {
	Session
	have  Spans // numbers of its readings
	added int
}

func (in *importer) read(ctx context.Context, r io.Reader) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, exportBuffer), maxLine)
	n, begun := 0, false
	for lines.Scan() {
		n++
		in.done += int64(len(lines.Bytes())) + 1
		line := bytes.TrimSpace(bytes.TrimPrefix(lines.Bytes(), []byte("\ufeff")))
		if len(line) == 0 {
			continue
		}
		take := in.take
		if !begun {
			take, begun = in.head, true
		}
		if err := take(line); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
		if n%1024 == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
			in.progress.tell(in.done, in.size)
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("line %d: %w", n+1, err)
	}
	if !begun {
		return errors.New("line 1: nothing there to import")
	}
	return errors.Join(in.add(), in.recount())
}

func (in *importer) head(line []byte) error {
	var head headLine
	switch err := json.Unmarshal(line, &head); {
	case err != nil || head.Type != "journal":
		return errors.New(`this is no exported journal: it does not begin with {"type":"journal"}`)
	case head.Format != exchangeFormat:
		return fmt.Errorf("written in format %d, this tunerd knows format %d", head.Format, exchangeFormat)
	}
	return nil
}

func (in *importer) take(line []byte) error {
	if in.scan.reading(line, &in.line) {
		return in.reading()
	}
	var head headLine
	if err := json.Unmarshal(line, &head); err != nil {
		return plainJSON(err)
	}
	switch head.Type {
	case "session":
		return in.session(line)
	case "reading":
		in.line = unknownReading
		if err := json.Unmarshal(line, &in.line); err != nil {
			return plainJSON(err)
		}
		return in.reading()
	case "event":
		return in.event(line)
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

func (in *importer) session(line []byte) error {
	if err := in.add(); err != nil {
		return err
	}
	var l sessionLine
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	if l.UID == "" {
		return errors.New("a session needs a uid")
	}
	s := &importing{Session: l.session()}
	if err := s.possible(); err != nil {
		return err
	}
	var isNew bool
	var err error
	if s.ID, isNew, s.have, err = in.to.Session(&s.Session); err != nil {
		return err
	}
	if again := in.sessions[s.UID]; again != nil {
		in.count.Known++
		return nil
	}
	if isNew {
		in.count.Sessions++
	} else {
		in.count.Known++
	}
	in.sessions[s.UID] = s
	return nil
}

// reading takes in.line.
func (in *importer) reading() error {
	l := &in.line
	s := in.of
	if s == nil || s.UID != l.Session {
		if s = in.sessions[plainText(l.Session)]; s == nil {
			return fmt.Errorf("session %q of the reading does not stand before it", l.Session)
		}
	}
	r := l.reading()
	if err := r.possible(l.Seq); err != nil {
		return err
	}
	if s.have.Has(l.Seq) {
		return nil
	}
	s.have = s.have.Add(Span{l.Seq, l.Seq + 1})
	s.added++
	if n := len(in.batch.Readings); n > 0 && (s != in.of || l.Seq != in.batch.First+n || n >= MaxBatch) {
		if err := in.add(); err != nil {
			return err
		}
	}
	if len(in.batch.Readings) == 0 {
		in.batch.First = l.Seq
	}
	in.of = s
	in.batch.Readings = append(in.batch.Readings, r)
	return nil
}

// add adds the readings that wait.
func (in *importer) add() error {
	if len(in.batch.Readings) == 0 {
		return nil
	}
	in.count.Readings += len(in.batch.Readings)
	err := in.to.Readings(&in.of.Session, in.batch)
	in.batch.Readings = in.batch.Readings[:0]
	return err
}

func (in *importer) event(line []byte) error {
	var l eventLine
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	if l.UID == "" {
		return errors.New("an event needs a uid")
	}
	e := l.event()
	if err := e.possible(); err != nil {
		return err
	}
	isNew, err := in.to.Event(&e)
	if isNew {
		in.count.Events++
	} else {
		in.count.Known++
	}
	return err
}

// recount sets the count of readings of what was imported.
func (in *importer) recount() error {
	for _, s := range in.sessions {
		if s.added == 0 {
			continue
		}
		if err := in.to.Count(s.ID, s.have.Count()); err != nil {
			return err
		}
	}
	return nil
}
