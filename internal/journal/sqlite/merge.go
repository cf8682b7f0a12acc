package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"tunerd/internal/journal"
)

// A merger adds to the store in a transaction, with statements that are prepared once.
type merger struct {
	ctx   context.Context
	tx    *sql.Tx
	known map[string]int64 // numbers of the sessions, by UID; nil: not looked for yet

	strings []journal.String // of the last session: most are strung alike
	strung  string           // how they are written

	end, insert, put, spans, count, event *sql.Stmt
}

func (s *store) Merge(ctx context.Context, add func(journal.Merger) error) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		m := &merger{ctx: ctx, tx: tx}
		for _, q := range []struct {
			stmt  **sql.Stmt
			query string
		}{
			{&m.end, "UPDATE session SET ended_ms = coalesce(ended_ms, ?) WHERE id = ?"},
			// An error ends the whole transaction, so that SQLite need not keep, for each row, what would undo it alone.
			{&m.insert, "INSERT OR FAIL INTO session (" + sessionColumns + ") VALUES (" + sessionHolders + ")"},
			{&m.put, "INSERT OR FAIL INTO batch (session_id, first, count, data) VALUES (?, ?, ?, ?)"},
			{&m.spans, "SELECT first, count FROM batch WHERE session_id = ? ORDER BY first"},
			{&m.count, "UPDATE session SET readings = ? WHERE id = ?"},
			{&m.event, "INSERT INTO event (" + eventColumns + ") VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (uid) DO NOTHING"},
		} {
			stmt, err := tx.PrepareContext(ctx, q.query)
			if err != nil {
				return err
			}
			defer stmt.Close()
			*q.stmt = stmt
		}
		return add(m)
	})
}

func (m *merger) Find(uid string) (id int64, have journal.Spans, err error) {
	if m.known == nil {
		if err := m.look(); err != nil {
			return 0, nil, err
		}
	}
	if id = m.known[uid]; id == 0 {
		return 0, nil, nil
	}
	have, err = m.numbers(id)
	return id, have, err
}

// look reads which sessions there are: one look costs as much as to ask for some hundred.
func (m *merger) look() error {
	rows, err := m.tx.QueryContext(m.ctx, "SELECT uid, id FROM session")
	if err != nil {
		return err
	}
	defer rows.Close()
	m.known = map[string]int64{}
	for rows.Next() {
		var uid string
		var id int64
		if err := rows.Scan(&uid, &id); err != nil {
			return err
		}
		m.known[uid] = id
	}
	return rows.Err()
}

func (m *merger) Add(s *journal.Session) (id int64, err error) {
	if m.strung == "" || !slices.Equal(s.Strings, m.strings) {
		if m.strung, err = stringsText(s.Strings); err != nil {
			return 0, err
		}
		m.strings = s.Strings
	}
	done, err := m.insert.ExecContext(m.ctx, sessionArgs(s, m.strung)...)
	if err != nil {
		return 0, err
	}
	id, err = done.LastInsertId()
	if m.known != nil {
		m.known[s.UID] = id
	}
	return id, err
}

func (m *merger) End(id int64, at time.Time) error {
	_, err := m.end.ExecContext(m.ctx, at.UnixMilli(), id)
	return err
}

// numbers are those of the readings of a session.
func (m *merger) numbers(id int64) (have journal.Spans, err error) {
	rows, err := m.spans.QueryContext(m.ctx, id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var first, count int
		if err := rows.Scan(&first, &count); err != nil {
			return nil, err
		}
		have = have.Add(journal.Span{From: first, To: first + count})
	}
	return have, rows.Err()
}

func (m *merger) Readings(s *journal.Session, b journal.Batch) error {
	return putBatch(m.ctx, m.put, s, b)
}

func (m *merger) Count(id int64, readings int) error {
	_, err := m.count.ExecContext(m.ctx, readings, id)
	return err
}

func (m *merger) Event(e *journal.Event) (isNew bool, err error) {
	done, err := m.event.ExecContext(m.ctx, e.UID, e.At.UnixMilli(), e.Instrument, e.Identity, e.String, e.Kind, e.Text)
	if err != nil {
		return false, err
	}
	n, err := done.RowsAffected()
	if err != nil {
		return false, err
	}
	return n > 0, m.tx.QueryRowContext(m.ctx, "SELECT id FROM event WHERE uid = ?", e.UID).Scan(&e.ID)
}
