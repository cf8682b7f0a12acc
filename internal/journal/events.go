package journal

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Kinds of an Event.
const (
	NewStrings = "new strings"
	Remark     = "remark"
)

// ErrNoEvent says that the journal has no event of that number.
var ErrNoEvent = errors.New("no such event")

// An Event is what happened to an instrument outside of any session.
type Event struct {
	ID         int64     // number in this journal, from 1; set by AddEvent
	UID        string    // the same in every journal; set by AddEvent if empty
	At         time.Time // set by AddEvent if zero; kept to the millisecond
	Instrument string    // as in Session
	String     int       // from 1; 0: all of them
	Kind       string    // NewStrings or Remark
	Text       string
}

const eventColumns = "uid, at_ms, instrument, string, kind, text"

// AddEvent stores e and returns its number.
func (j *Journal) AddEvent(ctx context.Context, e Event) (id int64, err error) {
	if e.UID == "" {
		e.UID = newUID()
	}
	if e.At.IsZero() {
		e.At = time.Now()
	}
	err = j.inTx(ctx, func(tx *sql.Tx) error {
		_, err := putEvent(ctx, tx, &e)
		if err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, "SELECT id FROM event WHERE uid = ?", e.UID).Scan(&id)
	})
	return id, err
}

// putEvent writes e unless an event of its UID is there, and tells whether it did.
func putEvent(ctx context.Context, tx *sql.Tx, e *Event) (isNew bool, err error) {
	done, err := tx.ExecContext(ctx, "INSERT INTO event ("+eventColumns+") VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (uid) DO NOTHING",
		plainText(e.UID), e.At.UnixMilli(), plainText(e.Instrument), e.String, plainText(e.Kind), plainText(e.Text))
	if err != nil {
		return false, err
	}
	n, err := done.RowsAffected()
	return n > 0, err
}

// Events lists the events of an instrument, or of all if it is empty, in the order of time.
func (j *Journal) Events(ctx context.Context, instrument string) ([]Event, error) {
	list, err := queryEvents(ctx, j.db, instrument)
	return list, j.error(err)
}

func queryEvents(ctx context.Context, q queryer, instrument string) ([]Event, error) {
	query, args := "SELECT id, "+eventColumns+" FROM event", []any(nil)
	if instrument != "" {
		query, args = query+" WHERE instrument = ?", []any{instrument}
	}
	rows, err := q.QueryContext(ctx, query+" ORDER BY at_ms, uid", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []Event
	for rows.Next() {
		var e Event
		var at int64
		if err := rows.Scan(&e.ID, &e.UID, &at, &e.Instrument, &e.String, &e.Kind, &e.Text); err != nil {
			return nil, err
		}
		e.At = time.UnixMilli(at).UTC()
		list = append(list, e)
	}
	return list, rows.Err()
}
