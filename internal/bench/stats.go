package bench

import (
	"tunerd/internal/display"
	"tunerd/internal/engine"
)

// Stats tell what a tuner has done so far, and does now.
type Stats struct {
	engine.Counts
	Latency   *engine.Latency // nil while there is no input
	Hears     display.State
	Followers int   // now
	Followed  int64 // followers so far
	Messages  int64 // made so far
	Replaced  int64 // of these, before a slow follower had taken them
}

// Stats returns what the tuner has done so far.
func (t *Tuner) Stats() Stats {
	t.mu.Lock()
	s := Stats{Counts: t.counts()}
	session := t.session
	t.mu.Unlock()
	if session != nil {
		l := session.Latency()
		s.Latency = &l
	}
	h := t.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	s.Hears, s.Followers, s.Followed, s.Messages, s.Replaced = h.heard.state, len(h.watchers), h.opened, h.count, h.replaced.Load()
	return s
}
