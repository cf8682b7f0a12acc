package engine

import (
	"slices"
	"sync"
	"time"
)

// latencyKept is how many of the newest readings the latency figures are taken over.
const latencyKept = 8192 // about 87 s of readings at 48 kHz

// Latency is the time from the arrival of the newest sample that a reading used to the moment
// its frame is handed to the displays. It covers queue and analysis; what device and driver
// add before, and drawing after, is not in it.
type Latency struct {
	Readings    int // how many the figures are taken over
	Median, P99 time.Duration
	Max         time.Duration
}

// latencies records delays in a ring.
type latencies struct {
	mu   sync.Mutex
	ring []time.Duration
	next int
}

func newLatencies() *latencies {
	return &latencies{ring: make([]time.Duration, 0, latencyKept)}
}

func (l *latencies) add(d time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.ring) < latencyKept {
		l.ring = append(l.ring, d)
		return
	}
	l.ring[l.next] = d
	l.next = (l.next + 1) % latencyKept
}

func (l *latencies) summary() Latency {
	l.mu.Lock()
	sorted := slices.Clone(l.ring)
	l.mu.Unlock()
	if len(sorted) == 0 {
		return Latency{}
	}
	slices.Sort(sorted)
	last := len(sorted) - 1
	return Latency{
		Readings: len(sorted),
		Median:   sorted[last/2],
		P99:      sorted[last*99/100],
		Max:      sorted[last],
	}
}
