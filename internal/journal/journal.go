// Package journal keeps sessions: what was measured when, on which instrument, with which strings,
// tuning, device and clock correction, and every reading with its uncertainty.
//
// A [Journal] stands on a [Store]: a file of SQLite (package sqlite), or memory ([NewMemory]). What
// is said of the sessions, as how the strings drift, and the form in which they are exchanged, is
// plain Go on sessions and readings. A session is written by the [Recorder] that [Journal.Begin]
// returns, in the background and in batches, so that who measures never waits:
//
//	j, err := sqlite.Open(path)
//	rec := j.Begin(journal.Session{Kind: "intonation", Instrument: name}, warn)
//	rec.Add(journal.Reading{String: 1, F1Hz: 110.01, SigmaCents: 0.02})
//	err = rec.Close()
package journal

import (
	"context"
	"errors"

	"tunerd/internal/fault"
)

// Errors that tell what is not there.
var (
	ErrNone      = errors.New("there is no journal yet")
	ErrNoSession = errors.New("no such session")
	ErrNoEvent   = errors.New("no such event")
)

// A Journal is an open journal. It may be used from several goroutines.
type Journal struct{ store Store }

// New returns the journal that store holds.
func New(store Store) *Journal { return &Journal{store} }

// Path is where the journal lies.
func (j *Journal) Path() string { return j.store.Path() }

// Close closes the store. Recorders are to be closed before.
func (j *Journal) Close() error { return stored(j.store.Close()) }

// Sessions lists sessions in the order of their start, without Strings and Data.
func (j *Journal) Sessions(ctx context.Context, f Filter) ([]Session, error) {
	list, err := j.store.Sessions(ctx, f)
	return list, stored(err)
}

// Session returns session id. ErrNoSession: there is none.
func (j *Journal) Session(ctx context.Context, id int64) (*Session, error) {
	s, _, err := j.whole(ctx, id)
	return s, err
}

// Readings returns the readings of session id in the order of measuring.
func (j *Journal) Readings(ctx context.Context, id int64) ([]Reading, error) {
	_, readings, err := j.whole(ctx, id)
	return readings, err
}

func (j *Journal) whole(ctx context.Context, id int64) (s *Session, readings []Reading, err error) {
	err = j.store.Walk(ctx, Filter{IDs: []int64{id}}, func(found *Session, batches []Batch) error {
		s = found
		for _, b := range batches {
			readings = append(readings, b.Readings...)
		}
		return nil
	})
	return s, readings, stored(err)
}

// Note replaces the remark of session id.
func (j *Journal) Note(ctx context.Context, id int64, note string) error {
	return stored(j.store.Note(ctx, id, plainText(note)))
}

// Delete removes sessions with their readings, and events: all of them or, if one does not exist,
// none.
func (j *Journal) Delete(ctx context.Context, sessions, events []int64) error {
	return stored(j.store.Delete(ctx, sessions, events))
}

// stored gives an error of the store its kind. That what was asked for is not there is none of the store's.
func stored(err error) error {
	for _, missing := range []error{ErrNone, ErrNoSession, ErrNoEvent} {
		if errors.Is(err, missing) {
			return err
		}
	}
	return fault.New(fault.Storage, err)
}
