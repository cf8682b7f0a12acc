// Package engine moves blocks of samples from a source through pitch and targets to displays.
//
// It is the one place where the four stages meet, and it owns every goroutine between them.
// A [Session] runs one live input until it ends; [Measure] reads recordings from end to end.
// What sounds is decided in pitch, what should sound in targets; here are only the joints:
// queues that never hold up the audio, gaps that are counted and shown instead of bridged,
// and the strobe phase of a partial against its target.
package engine

import (
	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A Tracker says what sounds. *pitch.Tracker is one.
type Tracker interface {
	// Push takes the next samples, the first of which has index start, and calls emit with
	// every reading that they complete. The reading is valid only during the call.
	Push(samples []float64, start int64, emit func(*pitch.Reading))
	// Expect tells the lowest pitch worth looking for, in Hz (0: no telling), and those that are
	// likely.
	Expect(lowest float64, hz []float64)
	// Flush ends a note that still sounds at the end of the input.
	Flush()
}

// A Resolver says what should sound. *targets.Resolver is one.
type Resolver interface {
	Resolve(f1Hz, sigmaCents float64) targets.Match
	Reset()           // a new note begins
	Hold(n int) error // 1 is the first string; 0 lets go
	Confirm()         // what sounds is the held string, though it does not seem to be
	// Against compares a pitch with string n, whatever is nearest and held.
	Against(n int, f1Hz, sigmaCents float64) targets.Match
	// Beside compares it with a target that is none of the resolver's.
	Beside(t targets.Target, f1Hz, sigmaCents float64) targets.Match
	Strings() []targets.Target // open strings; nil without an instrument
	Expected() (lowest float64, hz []float64)
}

// A Sink shows frames. Show may take its time: a live session gives it the latest frame when it
// comes back. The frame and its slices are valid only during the call. An error ends the session.
type Sink interface {
	Show(f *display.Frame) error
}

// Labels name, for people, what the frames are about.
type Labels struct {
	Tuning, Instrument, Reference string
}

// A TargetConfig is what should sound, and how it is heard and shown; see [Config].
type TargetConfig struct {
	Resolver Resolver
	Labels   Labels
	Bands    func(targets.Target) []int
	Chords   NewChords  // nil: one note is heard at a time
	Coupled  NewCoupled // what learns how the strings pull on each other; nil: nothing does
	Tracker  Tracker    // that hears it, from now on; nil: the one that there is
}
