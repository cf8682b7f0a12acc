package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"tunerd/internal/journal"
)

// Columns in the order in which they are written and read.
const (
	sessionColumns = `uid, kind, started_ms, ended_ms, program, input, rate_hz, clock_ppm, clock_sigma_ppm, clock_by,
		instrument, identity, strings, tuning, reference, plan, note, data, readings`
	sessionHolders = "?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?"
	// Of a listing: what may be long is left out, so that an index answers it.
	listColumns = `uid, kind, started_ms, ended_ms, program, input, rate_hz, clock_ppm, clock_sigma_ppm, clock_by,
		instrument, identity, '[]', tuning, reference, plan, note, '', readings`
	eventColumns = "uid, at_ms, instrument, identity, string, kind, text"

	putBatchQuery = "INSERT OR REPLACE INTO batch (session_id, first, count, data) VALUES (?, ?, ?, ?)"
)

func (s *store) Sessions(ctx context.Context, f journal.Filter) (list []journal.Session, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		query, args := chosen(f, listColumns)
		rows, err := tx.QueryContext(ctx, query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		var scan sessionScanner
		for rows.Next() {
			if err := rows.Scan(scan.into()...); err != nil {
				return err
			}
			session, err := scan.session()
			if err != nil {
				return err
			}
			list = append(list, *session)
		}
		return rows.Err()
	})
	return list, err
}

// chosen returns the query of what f, but for IDs, chooses, in the order of the start. An index answers it.
func chosen(f journal.Filter, columns string) (query string, args []any) {
	query = "SELECT id, " + columns + " FROM session"
	var where []string
	and := func(condition string, arg ...any) {
		where, args = append(where, condition), append(args, arg...)
	}
	switch n := len(f.Instruments); {
	case n == 1: // in the order of the index
		and("identity = ? AND instrument = ?", f.Instruments[0].Identity, f.Instruments[0].Name)
	case n > 1:
		var names []any
		for _, in := range f.Instruments {
			names = append(names, in.Identity, in.Name)
		}
		and("(identity, instrument) IN (VALUES (?, ?)"+strings.Repeat(", (?, ?)", n-1)+")", names...)
	}
	if f.Kind != "" {
		and("kind = ?", f.Kind)
	}
	if !f.Since.IsZero() {
		and("started_ms >= ?", f.Since.UnixMilli())
	}
	if !f.Until.IsZero() {
		and("started_ms < ?", f.Until.UnixMilli())
	}
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	if f.Last > 0 {
		query += " ORDER BY started_ms DESC, uid DESC LIMIT ?"
		return "SELECT * FROM (" + query + ") ORDER BY started_ms, uid", append(args, f.Last)
	}
	return query + " ORDER BY started_ms, uid", args
}

// A sessionScanner makes sessions of rows, and keeps what is alike in many of them once.
type sessionScanner struct {
	s       journal.Session
	started int64
	ended   sql.NullInt64
	strung  string
	sets    map[string][]journal.String // by their text
	to      []any
}

// mostSets bounds the memory of a sessionScanner.
const mostSets = 1000

// into returns where a row is to be scanned into.
func (c *sessionScanner) into() []any {
	if c.to == nil {
		s := &c.s
		c.to = []any{&s.ID, &s.UID, &s.Kind, &c.started, &c.ended, &s.Program, &s.Input, &s.RateHz,
			&s.Clock.PPM, &s.Clock.SigmaPPM, &s.Clock.By,
			&s.Instrument, &s.Identity, &c.strung, &s.Tuning, &s.Reference, &s.Plan, &s.Note, &s.Data, &s.Readings}
	}
	return c.to
}

// session returns what was scanned. It is overwritten by the next row, but its strings are not.
func (c *sessionScanner) session() (*journal.Session, error) {
	c.s.Started, c.s.Ended, c.s.Strings = time.UnixMilli(c.started).UTC(), time.Time{}, nil
	if c.ended.Valid {
		c.s.Ended = time.UnixMilli(c.ended.Int64).UTC()
	}
	if c.strung == "[]" {
		return &c.s, nil
	}
	set, ok := c.sets[c.strung]
	if !ok {
		if err := json.Unmarshal([]byte(c.strung), &set); err != nil {
			return nil, fmt.Errorf("%w: session %d: strings: %w", journal.ErrDamaged, c.s.ID, err)
		}
		if c.sets == nil || len(c.sets) > mostSets {
			c.sets = map[string][]journal.String{}
		}
		c.sets[c.strung] = set
	}
	c.s.Strings = set
	return &c.s, nil
}

func (s *store) Walk(ctx context.Context, f journal.Filter, visit func(*journal.Session, []journal.Batch) error) error {
	return s.read(ctx, func(tx *sql.Tx) error {
		w := walker{visit: visit}
		if len(f.IDs) == 0 {
			query, args := walkQuery(f)
			return w.walk(ctx, tx, query, args)
		}
		for _, id := range f.IDs {
			n := w.visited
			err := w.walk(ctx, tx, "SELECT s.*, b.first, b.data FROM (SELECT id, "+sessionColumns+" FROM session WHERE id = ?) s LEFT JOIN batch b ON b.session_id = s.id ORDER BY b.first", []any{id})
			if err != nil {
				return err
			}
			if w.visited == n {
				return fmt.Errorf("session %d: %w", id, journal.ErrNoSession)
			}
		}
		return nil
	})
}

// walkQuery returns the query of sessions with their batches.
func walkQuery(f journal.Filter) (query string, args []any) {
	inner, args := chosen(f, sessionColumns)
	return "SELECT s.*, b.first, b.data FROM (" + inner + ") s LEFT JOIN batch b ON b.session_id = s.id ORDER BY s.started_ms, s.uid, b.first", args
}

// A walker gathers the batches of each session.
type walker struct {
	visit   func(*journal.Session, []journal.Batch) error
	visited int

	scan     sessionScanner
	current  *journal.Session // whose batches are being gathered
	kept     journal.Session
	batches  []journal.Batch
	reader   journal.BatchReader
	readings []journal.Reading
	have     journal.Spans
}

func (w *walker) walk(ctx context.Context, tx *sql.Tx, query string, args []any) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	var first sql.NullInt64
	var data sql.RawBytes
	to := append(append([]any(nil), w.scan.into()...), &first, &data)
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
		if w.current == nil || w.current.ID != w.scan.s.ID {
			if err := w.tell(); err != nil {
				return err
			}
			s, err := w.scan.session()
			if err != nil {
				return err
			}
			w.kept = *s
			w.current = &w.kept
		}
		if first.Valid {
			if err := w.take(data); err != nil {
				return err
			}
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return w.tell()
}

// take adds a batch to the session. Of batches that overlap each reading counts once.
func (w *walker) take(data []byte) error {
	from := len(w.readings)
	uid, b, readings, err := w.reader.Read(data, w.readings)
	if err == nil && uid != w.current.UID {
		err = fmt.Errorf("%w: readings of session %s stand under another", journal.ErrDamaged, uid)
	}
	if err != nil {
		return fmt.Errorf("session %d: %w", w.current.ID, err)
	}
	end := 0
	if n := len(w.have); n > 0 {
		end = w.have[n-1].To
	}
	w.have = w.have.Add(journal.Span{From: b.First, To: b.First + len(b.Readings)})
	if over := end - b.First; over > 0 { // batches come in the order of First
		over = min(over, len(b.Readings))
		b.First, b.Readings = b.First+over, b.Readings[over:]
	}
	w.readings = readings
	// The storage may have moved; what stands in the old one stays right.
	b.Readings = w.readings[from+(len(readings)-from-len(b.Readings)):]
	w.batches = append(w.batches, b)
	return nil
}

// tell visits the session that is complete.
func (w *walker) tell() error {
	if w.current == nil {
		return nil
	}
	if n := w.have.Count(); n != w.current.Readings {
		return (&journal.Damage{Sessions: []journal.Loss{{ID: w.current.ID, Missing: w.current.Readings - n, Of: w.current.Readings}}}).Err()
	}
	w.visited++
	err := w.visit(w.current, w.batches)
	w.current, w.batches, w.readings, w.have = nil, w.batches[:0], w.readings[:0], w.have[:0]
	return err
}

func (s *store) Events(ctx context.Context) (list []journal.Event, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT id, "+eventColumns+" FROM event ORDER BY at_ms, uid")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var e journal.Event
			var at int64
			if err := rows.Scan(&e.ID, &e.UID, &at, &e.Instrument, &e.Identity, &e.String, &e.Kind, &e.Text); err != nil {
				return err
			}
			e.At = time.UnixMilli(at).UTC()
			list = append(list, e)
		}
		return rows.Err()
	})
	return list, err
}

func (s *store) Instruments(ctx context.Context) (list []journal.Instrument, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		// How many strings there are is asked of the newest session of each; events count no session.
		rows, err := tx.QueryContext(ctx, `SELECT identity, instrument, sum(n), max(last),
			coalesce((SELECT json_array_length(x.strings) FROM session x
				WHERE x.identity = u.identity AND x.instrument = u.instrument ORDER BY x.started_ms DESC LIMIT 1), 0)
			FROM (SELECT identity, instrument, count(*) AS n, max(started_ms) AS last FROM session GROUP BY identity, instrument
				UNION ALL SELECT DISTINCT identity, instrument, 0, NULL FROM event) u
			GROUP BY identity, instrument ORDER BY identity, instrument`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var in journal.Instrument
			var last sql.NullInt64
			if err := rows.Scan(&in.Identity, &in.Name, &in.Sessions, &last, &in.Strings); err != nil {
				return err
			}
			if last.Valid {
				in.Last = time.UnixMilli(last.Int64).UTC()
			}
			list = append(list, in)
		}
		return rows.Err()
	})
	return list, err
}

func (s *store) Put(ctx context.Context, session *journal.Session, b journal.Batch) (id int64, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		if id, err = putSession(ctx, tx, session); err != nil {
			return err
		}
		stored := *session
		stored.ID = id
		put, err := tx.PrepareContext(ctx, putBatchQuery)
		if err != nil {
			return err
		}
		defer put.Close()
		return putBatch(ctx, put, &stored, b)
	})
	return id, err
}

// putSession writes a session and returns its number. Of one whose UID is there already what may change
// in its course is replaced.
func putSession(ctx context.Context, tx *sql.Tx, s *journal.Session) (id int64, err error) {
	// An upsert would use up a number each time.
	err = tx.QueryRowContext(ctx, `UPDATE session SET ended_ms = ?, plan = ?, data = ?, note = iif(? = '', note, ?), readings = ?
		WHERE uid = ? RETURNING id`, ended(s), s.Plan, s.Data, s.Note, s.Note, s.Readings, s.UID).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	strung, err := stringsText(s.Strings)
	if err != nil {
		return 0, err
	}
	args := sessionArgs(s, strung)
	err = tx.QueryRowContext(ctx, "INSERT INTO session ("+sessionColumns+") VALUES ("+sessionHolders+") RETURNING id", args...).Scan(&id)
	return id, err
}

func ended(s *journal.Session) any {
	if s.Ended.IsZero() {
		return nil
	}
	return s.Ended.UnixMilli()
}

// stringsText is how strings are written.
func stringsText(strung []journal.String) (string, error) {
	if len(strung) == 0 {
		return "[]", nil
	}
	text, err := json.Marshal(strung)
	return string(text), err
}

// sessionArgs are the values of sessionColumns.
func sessionArgs(s *journal.Session, strung string) []any {
	return []any{s.UID, s.Kind, s.Started.UnixMilli(), ended(s), s.Program, s.Input, s.RateHz, s.Clock.PPM, s.Clock.SigmaPPM, s.Clock.By,
		s.Instrument, s.Identity, strung, s.Tuning, s.Reference, s.Plan, s.Note, s.Data, s.Readings}
}

// putBatch writes readings of a session, whose ID and UID are looked at, with the statement putBatchQuery.
func putBatch(ctx context.Context, put *sql.Stmt, s *journal.Session, b journal.Batch) error {
	var data []byte
	for len(b.Readings) > 0 {
		part := journal.Batch{First: b.First, Readings: b.Readings[:min(len(b.Readings), journal.MaxBatch)]}
		data = journal.AppendBatch(data[:0], s.UID, part)
		if _, err := put.ExecContext(ctx, s.ID, part.First, len(part.Readings), data); err != nil {
			return err
		}
		b.First, b.Readings = b.First+len(part.Readings), b.Readings[len(part.Readings):]
	}
	return nil
}

func (s *store) Note(ctx context.Context, id int64, note string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "UPDATE session SET note = ? WHERE id = ?", note, id)
		if err != nil {
			return err
		}
		if n, _ := done.RowsAffected(); n == 0 {
			return fmt.Errorf("session %d: %w", id, journal.ErrNoSession)
		}
		return nil
	})
}

func (s *store) Delete(ctx context.Context, sessions, events []int64) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if err := deleteAll(ctx, tx, "session", journal.ErrNoSession, sessions); err != nil {
			return err
		}
		return deleteAll(ctx, tx, "event", journal.ErrNoEvent, events)
	})
}

// deleteAll deletes rows of a table by number; missing is the error for one that is not there.
func deleteAll(ctx context.Context, tx *sql.Tx, table string, missing error, ids []int64) error {
	for _, id := range ids {
		done, err := tx.ExecContext(ctx, "DELETE FROM "+table+" WHERE id = ?", id)
		if err != nil {
			return err
		}
		if n, _ := done.RowsAffected(); n == 0 {
			return fmt.Errorf("%s %d: %w", table, id, missing)
		}
	}
	return nil
}

// read runs f in a transaction that sees one state.
func (s *store) read(ctx context.Context, f func(*sql.Tx) error) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return s.error(err)
	}
	defer tx.Rollback()
	return s.error(f(tx))
}

var errReadOnly = plainError{"it may not be written to", os.ErrPermission}

// write runs f in a transaction that is kept if f succeeds. If the file has been taken away meanwhile,
// another is opened or made, and the error is journal.ErrLost.
func (s *store) write(ctx context.Context, f func(*sql.Tx) error) error {
	err := s.inTx(ctx, f)
	s.mu.RLock()
	lost := s.isLost()
	s.mu.RUnlock()
	if !lost {
		return err
	}
	if err := s.reopen(); err != nil {
		return s.error(fmt.Errorf("%w: %w", journal.ErrLost, err))
	}
	return s.error(journal.ErrLost)
}

func (s *store) inTx(ctx context.Context, f func(*sql.Tx) error) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.copy != "" {
		return fmt.Errorf("%s: %w", s.path, errReadOnly)
	}
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return s.error(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return s.error(err)
	}
	return s.error(tx.Commit())
}
