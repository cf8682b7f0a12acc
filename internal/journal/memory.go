package journal

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"
)

// NewMemory returns a Store that lasts as long as the program, for tests and for builds without SQLite.
func NewMemory() Store {
	return &memory{memoryState: memoryState{byUID: map[string]*kept{}, events: map[string]Event{}}}
}

type memory struct {
	mu sync.Mutex
	memoryState
}

// A memoryState is what a memory holds. What it points at is never changed but replaced, so that a copy
// of its maps is a state to go back to.
type memoryState struct {
	byUID       map[string]*kept
	events      map[string]Event // by UID
	last, event int64            // numbers given so far
}

// A kept is a session with its readings by number.
type kept struct {
	Session
	readings map[int]Reading
}

func (m *memory) Path() string { return "memory" }
func (m *memory) Close() error { return nil }

// change runs f on a copy, which becomes the state if f succeeds.
func (m *memory) change(f func(*memoryState) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	next := m.memoryState
	next.byUID, next.events = maps.Clone(m.byUID), maps.Clone(m.events)
	if err := f(&next); err != nil {
		return err
	}
	m.memoryState = next
	return nil
}

// chosen returns what f chooses, in its order.
func (m *memory) chosen(f Filter) ([]*kept, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var list []*kept
	if len(f.IDs) > 0 {
		for _, id := range f.IDs {
			s := m.find(id)
			if s == nil {
				return nil, fmt.Errorf("session %d: %w", id, ErrNoSession)
			}
			list = append(list, s)
		}
		return list, nil
	}
	for _, s := range m.byUID {
		if f.Takes(&s.Session) {
			list = append(list, s)
		}
	}
	slices.SortFunc(list, func(a, b *kept) int { return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.UID, b.UID)) })
	if f.Last > 0 && f.Last < len(list) {
		list = list[len(list)-f.Last:]
	}
	return list, nil
}

func (s *memoryState) find(id int64) *kept {
	for _, k := range s.byUID {
		if k.ID == id {
			return k
		}
	}
	return nil
}

func (m *memory) Sessions(_ context.Context, f Filter) ([]Session, error) {
	chosen, err := m.chosen(f)
	var list []Session
	for _, k := range chosen {
		s := k.Session
		s.Strings, s.Data = nil, ""
		list = append(list, s)
	}
	return list, err
}

func (m *memory) Walk(_ context.Context, f Filter, visit func(*Session, []Batch) error) error {
	chosen, err := m.chosen(f)
	if err != nil {
		return err
	}
	for _, k := range chosen {
		s := k.Session
		if err := visit(&s, k.batches()); err != nil {
			return err
		}
	}
	return nil
}

func (k *kept) batches() []Batch {
	var list []Batch
	for _, seq := range slices.Sorted(maps.Keys(k.readings)) {
		if n := len(list); n > 0 && seq == list[n-1].span().To {
			list[n-1].Readings = append(list[n-1].Readings, k.readings[seq])
		} else {
			list = append(list, Batch{seq, []Reading{k.readings[seq]}})
		}
	}
	return list
}

func (m *memory) Events(context.Context) ([]Event, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.SortedFunc(maps.Values(m.events), func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.UID, b.UID)) }), nil
}

func (m *memory) Instruments(context.Context) ([]Instrument, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	type key struct{ identity, name string }
	found := map[key]Instrument{}
	for _, k := range m.byUID {
		in := found[key{k.Identity, k.Instrument}]
		in.Identity, in.Name = k.Identity, k.Instrument
		in.Strings = max(in.Strings, len(k.Strings))
		in.Sessions++
		if k.Started.After(in.Last) {
			in.Last = k.Started
		}
		found[key{k.Identity, k.Instrument}] = in
	}
	for _, e := range m.events {
		in := found[key{e.Identity, e.Instrument}]
		in.Identity, in.Name = e.Identity, e.Instrument
		found[key{e.Identity, e.Instrument}] = in
	}
	return slices.SortedFunc(maps.Values(found), func(a, b Instrument) int {
		return cmp.Or(cmp.Compare(a.Identity, b.Identity), cmp.Compare(a.Name, b.Name))
	}), nil
}

func (m *memory) Put(_ context.Context, s *Session, b Batch) (id int64, err error) {
	err = m.change(func(state *memoryState) error {
		k := state.byUID[s.UID]
		if k == nil {
			id, err = memoryMerger{state}.Add(s)
			k = state.byUID[s.UID]
		} else {
			id = k.ID
		}
		next := &kept{k.Session, maps.Clone(k.readings)}
		next.Ended, next.Plan, next.Data, next.Readings = s.Ended, s.Plan, s.Data, s.Readings
		if s.Note != "" {
			next.Note = s.Note
		}
		for i, r := range b.Readings {
			next.readings[b.First+i] = r
		}
		state.byUID[s.UID] = next
		return err
	})
	return id, err
}

func (m *memory) Merge(_ context.Context, add func(Merger) error) error {
	return m.change(func(state *memoryState) error { return add(memoryMerger{state}) })
}

type memoryMerger struct{ *memoryState }

func (m memoryMerger) Find(uid string) (id int64, have Spans, err error) {
	k := m.byUID[uid]
	if k == nil {
		return 0, nil, nil
	}
	for seq := range k.readings {
		have = have.Add(Span{seq, seq + 1})
	}
	return k.ID, have, nil
}

func (m memoryMerger) Add(s *Session) (id int64, err error) {
	m.last++
	k := &kept{*s, map[int]Reading{}}
	k.ID = m.last
	m.byUID[s.UID] = k
	return k.ID, nil
}

func (m memoryMerger) End(id int64, at time.Time) error {
	if k := m.find(id); k != nil && k.Ended.IsZero() {
		next := *k
		next.Ended = at
		m.byUID[k.UID] = &next
	}
	return nil
}

func (m memoryMerger) Readings(s *Session, b Batch) error {
	k := m.byUID[s.UID]
	next := &kept{k.Session, maps.Clone(k.readings)}
	for i, r := range b.Readings {
		if _, is := next.readings[b.First+i]; !is {
			next.readings[b.First+i] = r
		}
	}
	m.byUID[s.UID] = next
	return nil
}

func (m memoryMerger) Count(id int64, readings int) error {
	if k := m.find(id); k != nil {
		next := *k
		next.Readings = readings
		m.byUID[k.UID] = &next
	}
	return nil
}

func (m memoryMerger) Event(e *Event) (isNew bool, err error) {
	if known, is := m.events[e.UID]; is {
		e.ID = known.ID
		return false, nil
	}
	m.event++
	e.ID = m.event
	m.events[e.UID] = *e
	return true, nil
}

func (m *memory) Note(_ context.Context, id int64, note string) error {
	return m.change(func(state *memoryState) error {
		k := state.find(id)
		if k == nil {
			return fmt.Errorf("session %d: %w", id, ErrNoSession)
		}
		next := *k
		next.Note = note
		state.byUID[k.UID] = &next
		return nil
	})
}

func (m *memory) Delete(_ context.Context, sessions, events []int64) error {
	return m.change(func(state *memoryState) error {
		for _, id := range sessions {
			k := state.find(id)
			if k == nil {
				return fmt.Errorf("session %d: %w", id, ErrNoSession)
			}
			delete(state.byUID, k.UID)
		}
		for _, id := range events {
			n := len(state.events)
			maps.DeleteFunc(state.events, func(_ string, e Event) bool { return e.ID == id })
			if len(state.events) == n {
				return fmt.Errorf("event %d: %w", id, ErrNoEvent)
			}
		}
		return nil
	})
}

func (m *memory) Check(context.Context, Filter) (Damage, error) { return Damage{}, nil }
