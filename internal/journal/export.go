package journal

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"

	"tunerd/internal/display"
)

// A Progress is told from time to time how far a work has come, from 0 to 1. Nil is told nothing.
type Progress func(part float64)

func (p Progress) tell(done, all int64) {
	if p != nil && all > 0 {
		p(min(1, float64(done)/float64(all)))
	}
}

// Export writes sessions with their readings as JSON Lines, all of them and the events if there are no
// ids. What it writes is one state of the journal, whatever is kept meanwhile. Nothing is written if
// the journal has lost something of what was asked for: that is ErrDamaged.
func (j *Journal) Export(ctx context.Context, w io.Writer, progress Progress, ids ...int64) error {
	f := Filter{IDs: ids}
	damage, err := j.Check(ctx, f)
	if err == nil {
		err = stored(damage.Err())
	}
	if err != nil {
		return err
	}
	return j.export(ctx, w, progress, f)
}

func (j *Journal) export(ctx context.Context, w io.Writer, progress Progress, f Filter) error {
	out := newLineWriter(w)
	out.encode(headLine{"journal", exchangeFormat})
	all := int64(len(f.IDs))
	if all == 0 {
		known, err := j.Instruments(ctx)
		if err != nil {
			return err
		}
		for _, in := range known {
			all += int64(in.Sessions)
		}
	}
	err := out.walk(ctx, j.store, f, func(done int64) { progress.tell(done, all) })
	if err == nil && f.IsAll() {
		var events []Event
		if events, err = j.store.Events(ctx); err == nil {
			out.events(events)
		}
	}
	return errors.Join(stored(err), out.flush())
}

// An exported session is a copy of what Walk visits.
type exported struct {
	session  Session
	batches  []Batch
	readings []Reading
}

func (e *exported) set(s *Session, batches []Batch) {
	e.session, e.batches, e.readings = *s, e.batches[:0], e.readings[:0]
	for _, b := range batches {
		from := len(e.readings)
		e.readings = append(e.readings, b.Readings...)
		e.batches = append(e.batches, Batch{b.First, e.readings[from:]})
	}
}

// walk writes sessions in a goroutine of its own while the store reads the next. An error of the writer
// ends it, and is left in l.err.
func (l *lineWriter) walk(ctx context.Context, store Store, f Filter, told func(done int64)) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ahead, free, ended := make(chan *exported, itemsAhead), make(chan *exported, itemsAhead), make(chan struct{})
	go func() {
		defer close(ended)
		for e := range ahead {
			if l.session(&e.session, e.batches); l.err != nil {
				stop()
			}
			select {
			case free <- e:
			default:
			}
		}
	}()
	done := int64(0)
	err := store.Walk(ctx, f, func(s *Session, batches []Batch) error {
		var e *exported
		select {
		case e = <-free:
		default:
			e = &exported{}
		}
		e.set(s, batches)
		ahead <- e
		done++
		told(done)
		return ctx.Err()
	})
	close(ahead)
	<-ended
	if l.err != nil { // it is why the store was stopped
		return nil
	}
	return err
}

// WriteUnsaved writes what rec could not store in the form of Export, so that an import brings it
// to where it belongs.
func WriteUnsaved(w io.Writer, rec *Recorder) error {
	out := newLineWriter(w)
	out.encode(headLine{"journal", exchangeFormat})
	s, b := rec.Unsaved()
	out.session(&s, []Batch{b})
	return out.flush()
}

// WriteSaved writes sessions with readings, and events, that were saved from a damaged store, in the form
// of Export.
func WriteSaved(w io.Writer, sessions []Session, batches func(i int) []Batch, events []Event) error {
	out := newLineWriter(w)
	out.encode(headLine{"journal", exchangeFormat})
	for i := range sessions {
		out.session(&sessions[i], batches(i))
	}
	out.events(events)
	return out.flush()
}

// A lineWriter writes the lines of an export. After an error it writes nothing.
type lineWriter struct {
	out *bufio.Writer
	enc *json.Encoder
	buf []byte
	err error

	sessions sessionWriter
}

// exportBuffer is in bytes.
const exportBuffer = 1 << 18

func newLineWriter(w io.Writer) *lineWriter {
	out := bufio.NewWriterSize(w, exportBuffer)
	l := &lineWriter{out: out, enc: json.NewEncoder(escaper{out})}
	l.enc.SetEscapeHTML(false)
	return l
}

func (l *lineWriter) encode(line any) {
	if l.err == nil {
		l.err = l.enc.Encode(line)
	}
}

func (l *lineWriter) session(s *Session, batches []Batch) {
	if l.err != nil {
		return
	}
	l.buf, l.err = l.sessions.append(l.buf[:0], s)
	l.write()
	for _, b := range batches {
		for i := range b.Readings {
			l.buf = appendReading(l.buf[:0], s.UID, b.First+i, &b.Readings[i])
			l.write()
		}
	}
}

// write writes what is in buf.
func (l *lineWriter) write() {
	if l.err == nil {
		_, l.err = l.out.Write(l.buf)
	}
}

func (l *lineWriter) events(events []Event) {
	for i := range events {
		e := &events[i]
		l.encode(&eventLine{"event", e.UID, stamp(e.At.UnixMilli()), e.Instrument, e.Identity, e.String, e.Kind, e.Text})
	}
}

func (l *lineWriter) flush() error { return errors.Join(l.err, l.out.Flush()) }

// An escaper writes JSON without hidden characters, as an export may be looked at in a terminal.
type escaper struct{ w io.Writer }

func (e escaper) Write(json []byte) (int, error) {
	if _, err := e.w.Write(display.EscapeHidden(json)); err != nil {
		return 0, err
	}
	return len(json), nil
}
