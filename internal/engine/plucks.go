package engine

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
)

// A Pluck is one note of a live input, read over a fixed span after its onset.
type Pluck struct {
	pitch.Reading
	OnsetS float64 // of the stream
}

// A Heard is one thing that a Listener tells. Exactly one of its fields is set.
type Heard struct {
	Pluck  *Pluck         // a note was read
	Unread Unread         // why a note could not be read
	Now    *pitch.Reading // what sounds at the moment, valid only during the call
	Lost   string         // the input is gone; a sentence
}

// Unread says why a note could not be read.
type Unread string

const (
	TooShort  Unread = "too short"            // it ended, or another followed, before its window did
	Moved     Unread = "its pitch moved"      // by more than sameCents until the end of its window
	Unsteady  Unread = "no steady note"       // something sounds at the end of its window, but as no note that can be read
	SoundLost Unread = "sound was lost of it" // samples are missing between its onset and the end of its window
)

// Words says to who played the note why it was not read, and what to do.
func (u Unread) Words() string {
	switch u {
	case TooShort:
		return "too short; let it ring longer"
	case Moved:
		return fmt.Sprintf("its pitch moved by more than %d cents while it rang; play it again, and leave the string as it is", sameCents)
	case Unsteady:
		return "it rang, but not as one steady note; damp the other strings and play it again"
	case SoundLost:
		return "sound was lost, and what rang then cannot be read; if it was the note asked for, damp it and play it again"
	}
	return string(u)
}

// ListenerConfig is what a Listener needs; the tracker gives live readings.
type ListenerConfig struct {
	SampleRate float64 // Hz, true
	Tracker    Tracker
	Window     [2]float64 // s after each onset over which the pitch is read
}

// A Listener reads single plucks of a live input, each over the same span after its onset, as soon
// as that has passed, while the string still sounds. It has an input of its own ([Listener.Run]), or
// hears that of a session ([Session.Listen]).
type Listener struct {
	cfg       ListenerConfig
	estimator *pitch.WindowEstimator
	past      []float64
	start     int64   // index of past[0]
	keep      int     // samples of past that are needed
	onset     int64   // of the note that is waited for
	hz        float64 // its first reading
	waiting   bool
	told      func(Heard)
	lost      bool  // the input is gone
	gap       int64 // index of the first sample after the last gap; nothing begins before it
	gapTold   bool  // that a note is lost to it

	mu     sync.Mutex
	expect struct {
		changed bool
		lowest  float64
		hz      []float64
	}
}

// beforeOnset is the span before an onset that is kept, to see that it was one, in seconds.
const beforeOnset = 0.12

// NewListener prepares a listener, for one input.
func NewListener(cfg ListenerConfig) (*Listener, error) {
	if w := cfg.Window; !(0 <= w[0] && w[0]+0.1 <= w[1] && w[1] <= 60) {
		return nil, fmt.Errorf("window of %g to %g s after the onset: want 0 <= start, a tenth of a second at least, end <= 60", w[0], w[1])
	}
	estimator, err := pitch.NewWindowEstimator(cfg.SampleRate)
	if err != nil {
		return nil, err
	}
	return &Listener{cfg: cfg, estimator: estimator, gap: math.MinInt64, keep: int((cfg.Window[1] + beforeOnset + 1) * cfg.SampleRate)}, nil
}

// Expect says what is likely to sound next, as Tracker.Expect has it. It may be called from any
// goroutine and takes effect with the next block.
func (l *Listener) Expect(lowest float64, hz []float64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.expect.changed, l.expect.lowest, l.expect.hz = true, lowest, append([]float64(nil), hz...)
}

// Run listens until the source or ctx ends, and tells what it hears from the caller's goroutine.
func (l *Listener) Run(ctx context.Context, source capture.Source, tell func(Heard)) error {
	rate := source.SampleRate()
	q := newQueue(source, max(1, standardBlock*rate/standardRate), queueBlocks, time.Now)
	run, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := q.run(run); err != nil {
			stop(err)
		}
	})
	l.told = tell
	for p := range q.filled {
		l.hear(p, source)
		q.free <- p
	}
	wg.Wait()
	if ctx.Err() != nil {
		return nil
	}
	l.giveUp()
	return context.Cause(run)
}

// hear takes what one Read of the source gave.
func (l *Listener) hear(p *packet, source capture.Source) {
	switch {
	case !p.lost:
		l.push(p.block)
	case !l.lost:
		l.told(Heard{Lost: errLost(source)})
	}
	l.lost = p.lost
}

func (l *Listener) push(b capture.Block) {
	l.applyPending()
	if b.Start != l.start+int64(len(l.past)) {
		if len(l.past) > 0 {
			l.lose(b.Start)
		}
		l.past, l.start = l.past[:0], b.Start
	}
	if drop := len(l.past) + len(b.Samples) - l.keep; drop > l.keep/2 {
		l.past = append(l.past[:0], l.past[drop:]...)
		l.start += int64(drop)
	}
	l.past = append(l.past, b.Samples...)
	l.cfg.Tracker.Push(b.Samples, b.Start, l.reading)
}

// lose forgets the note that was waited for, as samples of it are missing up to that one.
func (l *Listener) lose(to int64) {
	l.gap, l.gapTold = to, false
	if l.waiting {
		l.waiting = false
		l.tellLost()
	}
}

// tellLost tells once for each gap that a note is lost to it.
func (l *Listener) tellLost() {
	if !l.gapTold {
		l.gapTold = true
		l.told(Heard{Unread: SoundLost})
	}
}

func (l *Listener) applyPending() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.expect.changed {
		l.cfg.Tracker.Expect(l.expect.lowest, l.expect.hz)
		l.expect.changed = false
	}
}

// reading follows what sounds: a new onset is waited for until its window is full. A tracker may
// lose a note for a moment; what counts is that it still sounds in the end.
func (l *Listener) reading(r *pitch.Reading) {
	switch {
	case !r.NewOnset:
	case r.Onset-int64(beforeOnset*l.cfg.SampleRate) < l.gap:
		l.tellLost() // it may have rung already before the gap, and its onset is not known
	case l.struck(r.Onset):
		l.giveUp()
		l.onset, l.hz, l.waiting = r.Onset, r.F1Hz, true
	}
	l.told(Heard{Now: r})
	if !l.waiting || r.At < l.onset+int64(l.cfg.Window[1]*l.cfg.SampleRate) {
		return
	}
	l.waiting = false
	switch {
	case r.State == pitch.Silent:
		l.told(Heard{Unread: TooShort})
	case r.State != pitch.Sounding:
		l.told(Heard{Unread: Unsteady})
	case math.Abs(stiffstring.Cents(r.F1Hz, l.hz)) > sameCents:
		l.told(Heard{Unread: Moved})
	case !l.read(r):
		l.told(Heard{Unread: Unsteady})
	}
}

// sameCents is how far a note glides from its first reading until its window is full, at most.
const sameCents = 60

// giveUp tells that the note that was waited for ended, or is cut off by another, before it could be read.
func (l *Listener) giveUp() {
	if l.waiting {
		l.waiting = false
		l.told(Heard{Unread: TooShort})
	}
}

// struck says whether a note began with a pluck, or is an old one found again: the sound is twice
// as strong after its onset as before.
func (l *Listener) struck(onset int64) bool {
	span := int64(0.08 * l.cfg.SampleRate)
	before := l.power(onset-int64(beforeOnset*l.cfg.SampleRate), onset-int64(0.02*l.cfg.SampleRate))
	return l.power(onset, onset+span) > 2*before
}

// power is the mean square from one sample to another; 0 where nothing is kept.
func (l *Listener) power(from, to int64) float64 {
	x := l.between(from, to)
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(max(len(x), 1))
}

// between returns what is kept of the samples from one index to another.
func (l *Listener) between(from, to int64) []float64 {
	end := l.start + int64(len(l.past))
	from, to = min(max(from, l.start), end), min(max(to, l.start), end)
	return l.past[from-l.start : max(to, from)-l.start]
}

// read reads the window of the note that r is the latest reading of.
func (l *Listener) read(r *pitch.Reading) bool {
	from, to := l.onset+int64(l.cfg.Window[0]*l.cfg.SampleRate), l.onset+int64(l.cfg.Window[1]*l.cfg.SampleRate)
	got, ok := l.estimator.Again(l.between(from, to), r)
	if ok {
		got.Partials = append([]pitch.Partial(nil), got.Partials...)
		l.told(Heard{Pluck: &Pluck{Reading: got, OnsetS: float64(l.onset) / l.cfg.SampleRate}})
	}
	return ok
}
