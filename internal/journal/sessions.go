package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

// ErrNoSession says that the journal has no session of that number.
var ErrNoSession = errors.New("no such session")

// A Filter chooses sessions. The zero value chooses all.
type Filter struct {
	Instrument   string // as in Session; empty: any
	Kind         string // as in Session; empty: any
	Since, Until time.Time
	Last         int // only so many of the newest; 0: all
}

// Columns in the order in which they are written and read.
const (
	sessionColumns = `uid, kind, started_ms, ended_ms, program, input, rate_hz, clock_ppm, clock_sigma_ppm, clock_by,
		instrument, strings, tuning, reference, plan, note, data, readings`
	// Of a listing: what may be long is left out, which makes ten thousand sessions a matter of a tenth of a second.
	listColumns = `uid, kind, started_ms, ended_ms, program, input, rate_hz, clock_ppm, clock_sigma_ppm, clock_by,
		instrument, '[]', tuning, reference, plan, note, '', readings`
	readingColumns = `file, string, fret, harmonic, label, mark, time_s, target_hz, f1_hz, sigma_cents, cents,
		attack_f1_hz, partial1_hz, inharmonicity, snr_db, from_s, to_s`
)

// Sessions lists sessions in the order of their start, without Strings and Data.
func (j *Journal) Sessions(ctx context.Context, f Filter) ([]Session, error) {
	query, args := f.query()
	list, err := querySessions(ctx, j.db, query, args...)
	return list, j.error(err)
}

// query returns the query of a listing, which an index answers in order.
func (f Filter) query() (query string, args []any) {
	query = "SELECT id, " + listColumns + " FROM session"
	var where []string
	and := func(condition string, arg any) {
		where, args = append(where, condition), append(args, arg)
	}
	if f.Instrument != "" {
		and("instrument = ?", f.Instrument)
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

// Session returns session id. ErrNoSession: there is none.
func (j *Journal) Session(ctx context.Context, id int64) (*Session, error) {
	list, err := querySessions(ctx, j.db, "SELECT id, "+sessionColumns+" FROM session WHERE id = ?", id)
	switch {
	case err != nil:
		return nil, j.error(err)
	case len(list) == 0:
		return nil, fmt.Errorf("journal: session %d: %w", id, ErrNoSession)
	}
	return &list[0], nil
}

func querySessions(ctx context.Context, q queryer, query string, args ...any) ([]Session, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []Session
	for rows.Next() {
		s, err := scanSession(rows)
		if err != nil {
			return nil, err
		}
		list = append(list, *s)
	}
	return list, rows.Err()
}

func scanSession(rows *sql.Rows) (*Session, error) {
	var s Session
	var started int64
	var ended sql.NullInt64
	var strung string
	err := rows.Scan(&s.ID, &s.UID, &s.Kind, &started, &ended, &s.Program, &s.Input, &s.RateHz,
		&s.Clock.PPM, &s.Clock.SigmaPPM, &s.Clock.By,
		&s.Instrument, &strung, &s.Tuning, &s.Reference, &s.Plan, &s.Note, &s.Data, &s.Readings)
	if err != nil {
		return nil, err
	}
	s.Started = time.UnixMilli(started).UTC()
	if ended.Valid {
		s.Ended = time.UnixMilli(ended.Int64).UTC()
	}
	if strung == "[]" {
		return &s, nil
	}
	if err := json.Unmarshal([]byte(strung), &s.Strings); err != nil {
		return nil, fmt.Errorf("session %d: strings: %w", s.ID, err)
	}
	return &s, nil
}

// Readings returns the readings of session id in the order of measuring.
func (j *Journal) Readings(ctx context.Context, id int64) ([]Reading, error) {
	list, err := queryReadings(ctx, j.db, id)
	return list, j.error(err)
}

const readingsQuery = "SELECT " + readingColumns + " FROM reading WHERE session_id = ? ORDER BY seq"

func queryReadings(ctx context.Context, q queryer, id int64) ([]Reading, error) {
	rows, err := q.QueryContext(ctx, readingsQuery, id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []Reading
	for rows.Next() {
		r, err := scanReading(rows)
		if err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, rows.Err()
}

// scanReading reads readingColumns, and before them the columns of lead.
func scanReading(rows *sql.Rows, lead ...any) (Reading, error) {
	var r Reading
	dst := append(lead, &r.File, &r.String, &r.Fret, &r.Harmonic, &r.Label, &r.Mark)
	numbers := r.numbers()
	values := make([]sql.NullFloat64, len(numbers))
	for i := range values {
		dst = append(dst, &values[i])
	}
	if err := rows.Scan(dst...); err != nil {
		return Reading{}, err
	}
	for i, v := range values {
		*numbers[i] = v.Float64
		if !v.Valid {
			*numbers[i] = math.NaN()
		}
	}
	return r, nil
}

// Note replaces the remark of session id.
func (j *Journal) Note(ctx context.Context, id int64, note string) error {
	done, err := j.db.ExecContext(ctx, "UPDATE session SET note = ? WHERE id = ?", plainText(note), id)
	if err != nil {
		return j.error(err)
	}
	if n, _ := done.RowsAffected(); n == 0 {
		return fmt.Errorf("journal: session %d: %w", id, ErrNoSession)
	}
	return nil
}

// Delete removes sessions with their readings, and events: all of them or, if one does not exist,
// none.
func (j *Journal) Delete(ctx context.Context, sessions, events []int64) error {
	return j.inTx(ctx, func(tx *sql.Tx) error {
		if err := deleteAll(ctx, tx, "session", ErrNoSession, sessions); err != nil {
			return err
		}
		return deleteAll(ctx, tx, "event", ErrNoEvent, events)
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

// inTx runs f in a transaction that is kept if f succeeds.
func (j *Journal) inTx(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return j.error(err)
	}
	defer tx.Rollback()
	if err := f(tx); err != nil {
		return j.error(err)
	}
	return j.error(tx.Commit())
}

// putSession writes s, which is sanitized, and returns its number. Of a session whose UID is there
// already what may change in its course is replaced; a remark gives way to a later one only.
func putSession(ctx context.Context, tx *sql.Tx, s *Session) (id int64, err error) {
	var ended any
	if !s.Ended.IsZero() {
		ended = s.Ended.UnixMilli()
	}
	// An upsert would use up a number each time.
	err = tx.QueryRowContext(ctx, `UPDATE session SET ended_ms = ?, plan = ?, data = ?, note = iif(? = '', note, ?), readings = ?
		WHERE uid = ? RETURNING id`, ended, s.Plan, s.Data, s.Note, s.Note, s.Readings, s.UID).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	strung := []byte("[]")
	if len(s.Strings) > 0 {
		if strung, err = json.Marshal(s.Strings); err != nil {
			return 0, err
		}
	}
	err = tx.QueryRowContext(ctx, "INSERT INTO session ("+sessionColumns+") VALUES (?"+strings.Repeat(", ?", 17)+") RETURNING id",
		s.UID, s.Kind, s.Started.UnixMilli(), ended, s.Program, s.Input, s.RateHz, s.Clock.PPM, s.Clock.SigmaPPM, s.Clock.By,
		s.Instrument, string(strung), s.Tuning, s.Reference, s.Plan, s.Note, s.Data, s.Readings).Scan(&id)
	return id, err
}

// preparePut prepares the statement for putReading. Where there is a reading of that number
// already, the statement does what clash says: REPLACE or IGNORE.
func preparePut(ctx context.Context, tx *sql.Tx, clash string) (*sql.Stmt, error) {
	return tx.PrepareContext(ctx, "INSERT OR "+clash+" INTO reading (session_id, seq, "+readingColumns+") VALUES (?, ?"+strings.Repeat(", ?", 17)+")")
}

// putReading writes r, which is sanitized, and tells whether it did.
func putReading(ctx context.Context, put *sql.Stmt, id int64, seq int, r *Reading) (written bool, err error) {
	args := []any{id, seq, r.File, r.String, r.Fret, r.Harmonic, r.Label, r.Mark}
	for _, x := range r.numbers() {
		args = append(args, nullable(*x))
	}
	done, err := put.ExecContext(ctx, args...)
	if err != nil {
		return false, err
	}
	n, err := done.RowsAffected()
	return n > 0, err
}

// nullable is nil for what is not known.
func nullable(x float64) any {
	if math.IsNaN(x) {
		return nil
	}
	return x
}
