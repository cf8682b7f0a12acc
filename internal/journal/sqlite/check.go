package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"

	"tunerd/internal/journal"
)

// smallFile is the size, in bytes, up to which a file is always checked as a whole: that takes some
// hundredths of a second.
const smallFile = 4 << 20

// mostIDs is how many numbers a statement is given at most.
const mostIDs = 1000

// Check counts the readings of the sessions of f and holds them against their sums. The file as a whole,
// with the order of its pages and indexes, is checked if f chooses all, or if it is small.
func (s *store) Check(ctx context.Context, f journal.Filter) (d journal.Damage, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		info, statErr := os.Stat(s.path)
		if f.IsAll() || statErr == nil && info.Size() <= smallFile {
			if d.Store, err = checkPages(ctx, tx); err != nil {
				return err
			}
			f = journal.Filter{} // a damaged index hides sessions from any choice
		}
		return checkReadings(ctx, tx, f, &d)
	})
	if errors.Is(err, journal.ErrDamaged) { // a page cannot be read at all
		d.Store, err = "pages cannot be read", nil
	}
	return d, err
}

// checkPages returns what SQLite finds wrong, in one line, or nothing.
func checkPages(ctx context.Context, tx *sql.Tx) (string, error) {
	rows, err := tx.QueryContext(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return "", err
	}
	defer rows.Close()
	var found []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return "", err
		}
		if line != "ok" {
			found = append(found, strings.Join(strings.Fields(line), " "))
		}
	}
	if len(found) == 0 {
		return "", rows.Err()
	}
	more := ""
	if n := len(found) - 1; n > 0 {
		more = fmt.Sprintf(", and %d faults more", n)
	}
	return found[0] + more, rows.Err()
}

// checkReadings counts what is sound of each session.
func checkReadings(ctx context.Context, tx *sql.Tx, f journal.Filter, d *journal.Damage) error {
	query, args := "SELECT s.id, s.readings, b.first, b.data FROM session s LEFT JOIN batch b ON b.session_id = s.id", []any(nil)
	switch {
	case len(f.IDs) > mostIDs: // more than a statement takes: all are looked at
	case len(f.IDs) > 0:
		query += " WHERE s.id IN (?" + strings.Repeat(", ?", len(f.IDs)-1) + ")"
		for _, id := range f.IDs {
			args = append(args, id)
		}
	case !f.IsAll():
		inner, innerArgs := chosen(f, "started_ms, uid")
		query += " WHERE s.id IN (SELECT id FROM (" + inner + "))"
		args = innerArgs
	}
	rows, err := tx.QueryContext(ctx, query+" ORDER BY s.id, b.first", args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	var id, last int64
	var readings, of int
	var have journal.Spans
	var first sql.NullInt64
	var data sql.RawBytes
	tell := func() {
		if n := have.Count(); last != 0 && n != of {
			d.Sessions = append(d.Sessions, journal.Loss{ID: last, Missing: of - n, Of: of})
		}
	}
	for rows.Next() {
		if err := rows.Scan(&id, &readings, &first, &data); err != nil {
			return err
		}
		if id != last {
			tell()
			last, of, have = id, readings, have[:0]
		}
		if first.Valid && journal.IsSound(data) {
			have = have.Add(journal.Span{From: int(first.Int64), To: int(first.Int64) + journal.CountOf(data)})
		}
	}
	tell()
	return rows.Err()
}
