package journal

import (
	"context"
	"slices"
	"time"
)

// A Store holds sessions, their readings, and events. Each method is one transaction: done as a whole
// or not at all, and what it returns is one state. Its methods may be called from several
// goroutines. Errors name the store where that helps; a missing session or event is ErrNoSession or
// ErrNoEvent, wrapped. What is written has been sanitized.
type Store interface {
	// Path is where the store lies, for people.
	Path() string
	// Sessions lists sessions in the order of their start, without Strings and Data.
	Sessions(ctx context.Context, f Filter) ([]Session, error)
	// Walk visits sessions with all their readings, in the order of their start or of f.IDs. Visit keeps
	// nothing of the batches. A session of f.IDs that is not there is ErrNoSession; readings that cannot
	// be read as they were written are ErrDamaged.
	Walk(ctx context.Context, f Filter, visit func(*Session, []Batch) error) error
	// Events lists all events in the order of time.
	Events(ctx context.Context) ([]Event, error)
	// Instruments lists the instruments of all sessions and events.
	Instruments(ctx context.Context) ([]Instrument, error)

	// Put writes s and a batch of its readings, and returns its number. Of a session whose UID is there
	// already it replaces what may change in its course (the end, Plan, Data, Readings, and Note unless
	// that is empty), and readings of the batch that are there. ErrLost: the store has gone since it was
	// opened, and with it what was put there; the next Put finds one without it, or another ErrLost.
	Put(ctx context.Context, s *Session, b Batch) (id int64, err error)
	// Merge runs add, whose additions are kept if it succeeds.
	Merge(ctx context.Context, add func(Merger) error) error
	// Note replaces the remark of a session.
	Note(ctx context.Context, id int64, note string) error
	// Delete removes sessions with their readings, and events.
	Delete(ctx context.Context, sessions, events []int64) error

	// Check looks for damage: in the sessions of f, and in the whole store if f is the zero Filter.
	Check(ctx context.Context, f Filter) (Damage, error)
	Close() error
}

// A Merger adds what is not there yet.
type Merger interface {
	// Find returns the number of a session and those of its readings; 0: it is not there.
	Find(uid string) (id int64, have Spans, err error)
	// Add adds a session that is not there, and returns its number.
	Add(s *Session) (id int64, err error)
	// End sets the end of a session that has none.
	End(id int64, at time.Time) error
	// Readings adds readings whose numbers the session does not have.
	Readings(s *Session, b Batch) error
	// Count sets how many readings a session has.
	Count(id int64, readings int) error
	// Event adds e unless its UID is there.
	Event(e *Event) (isNew bool, err error)
}

// A Filter chooses sessions. The zero value chooses all.
type Filter struct {
	IDs          []int64      // these only, in this order; what follows is not looked at then
	Instruments  []Instrument // any of these, told by Identity and Name; empty: any
	Kind         string       // as in Session; empty: any
	Since, Until time.Time
	Last         int // only so many of the newest; 0: all
}

// IsAll tells whether f chooses all sessions.
func (f *Filter) IsAll() bool {
	return len(f.IDs) == 0 && len(f.Instruments) == 0 && f.Kind == "" && f.Since.IsZero() && f.Until.IsZero() && f.Last == 0
}

// Takes reports whether f, but for IDs and Last, chooses s.
func (f *Filter) Takes(s *Session) bool {
	return (len(f.Instruments) == 0 || slices.ContainsFunc(f.Instruments, s.isOf)) && (f.Kind == "" || f.Kind == s.Kind) &&
		(f.Since.IsZero() || !s.Started.Before(f.Since)) && (f.Until.IsZero() || s.Started.Before(f.Until))
}

func (s *Session) isOf(in Instrument) bool {
	return s.Identity == in.Identity && s.Instrument == in.Name
}

// A Batch is a run of readings of one session.
type Batch struct {
	First    int // number of the first in its session, from 1
	Readings []Reading
}

// A Span is the numbers from From up to, but without, To.
type Span struct{ From, To int }

// Spans are numbers, as spans in order that neither touch nor overlap.
type Spans []Span

// Add returns the numbers with those of n added.
func (s Spans) Add(n Span) Spans {
	i, _ := slices.BinarySearchFunc(s, n.From, func(x Span, from int) int { return x.To - from })
	j := i
	for ; j < len(s) && s[j].From <= n.To; j++ {
		n.From, n.To = min(n.From, s[j].From), max(n.To, s[j].To)
	}
	return slices.Replace(s, i, j, n)
}

// Has reports whether number n is one of s.
func (s Spans) Has(n int) bool {
	i, _ := slices.BinarySearchFunc(s, n+1, func(x Span, to int) int { return x.To - to })
	return i < len(s) && s[i].From <= n
}

// Count is how many numbers there are.
func (s Spans) Count() (n int) {
	for _, x := range s {
		n += x.To - x.From
	}
	return n
}

func (b *Batch) span() Span { return Span{b.First, b.First + len(b.Readings)} }
