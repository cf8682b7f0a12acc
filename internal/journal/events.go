package journal

import (
	"context"
	"time"
)

// Kinds of an Event.
const (
	NewStrings = "new strings"
	Remark     = "remark"
)

// An Event is what happened to an instrument outside of any session.
type Event struct {
	ID         int64     // number in this journal, from 1; set by AddEvent
	UID        string    // the same in every journal; set by AddEvent if empty
	At         time.Time // set by AddEvent if zero; kept to the millisecond
	Instrument string    // as in Session
	Identity   string    // as in Session
	String     int       // from 1; 0: all of them
	Kind       string    // NewStrings or Remark
	Text       string
}

// AddEvent stores e and returns its number.
func (j *Journal) AddEvent(ctx context.Context, e Event) (id int64, err error) {
	if e.UID == "" {
		e.UID = newUID()
	}
	if e.At.IsZero() {
		e.At = time.Now()
	}
	e = e.sanitized()
	err = j.store.Merge(ctx, func(m Merger) error {
		_, err := m.Event(&e)
		return err
	})
	return e.ID, stored(err)
}

// Events lists the events of some instruments, or all if none is named, in the order of time.
func (j *Journal) Events(ctx context.Context, of ...Instrument) ([]Event, error) {
	all, err := j.store.Events(ctx)
	if err != nil || len(of) == 0 {
		return all, stored(err)
	}
	var list []Event
	for _, e := range all {
		for _, in := range of {
			if e.Identity == in.Identity && e.Instrument == in.Name {
				list = append(list, e)
				break
			}
		}
	}
	return list, nil
}

func (e Event) sanitized() Event {
	for _, text := range []*string{&e.UID, &e.Instrument, &e.Identity, &e.Kind, &e.Text} {
		*text = plainText(*text)
	}
	e.At = e.At.Truncate(time.Millisecond).UTC()
	return e
}
