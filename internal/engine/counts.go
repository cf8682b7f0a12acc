package engine

import "sync/atomic"

// Counts tell what a session has done so far.
type Counts struct {
	Blocks   int64 // taken from the source
	Samples  int64 // in them
	Readings int64 // made of them
	Gaps     int64 // breaks in the input
}

type counts struct{ blocks, samples, readings, gaps atomic.Int64 }

// Counts returns what the session has done so far. It may be called from any goroutine.
func (s *Session) Counts() Counts {
	c := &s.counts
	return Counts{c.blocks.Load(), c.samples.Load(), c.readings.Load(), c.gaps.Load()}
}
