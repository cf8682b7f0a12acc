package engine

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/ensemble"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

const (
	measureBlock = 4096 // samples read at a time
	notesAhead   = 256  // notes of a later file that wait for their turn
)

// A Note is one note of a recording with its target.
type Note struct {
	File       string
	SampleRate int              // nominal, Hz
	Clock      clock.Correction // that the pitch has
	pitch.Note
	Match targets.Match
}

// StartS is the time of the onset in the file, s.
func (n *Note) StartS() float64 { return float64(n.Start) / float64(n.SampleRate) }

// EndS is the time of the end in the file, s.
func (n *Note) EndS() float64 { return float64(n.End) / float64(n.SampleRate) }

// A Summary tells of one file that has been read.
type Summary struct {
	File     string
	Notes    int
	SeveralS []float64 // [s] onsets of sounds that are several notes, where one was expected: none is reported
	Unlisted []Unlisted
	Err      error // why it could not be read, or not to its end
}

// An Unlisted is a string that sounds and is none of those that are read at once.
type Unlisted struct{ AtS, Hz float64 } // onset of the chord, partial 1

// MeasureConfig says how Measure reads recordings and whom it tells.
type MeasureConfig struct {
	Jobs        int // files read at the same time; 0: one per core
	Open        func(ctx context.Context, file string) (capture.Source, error)
	NewTracker  func(sampleRate float64, onNote func(*pitch.Note)) (Tracker, error)
	NewResolver func() (Resolver, error)
	// NewChords, if not nil, reads all strings of the resolver at once, chord by chord;
	// NewTracker is not used then. A chord gives a note for each string.
	NewChords NewChords

	// Note is called with every note, Done once after the last note of each file: in the order
	// of the files, and from one goroutine. An error of Note ends the work.
	Note     func(*Note) error
	Done     func(Summary)
	Progress *Progress // told of what has been read; may be nil
}

// Measure reads the files from end to end, several at a time, and reports their notes in the
// order given. What it holds does not grow with the length of a file: samples go by in blocks,
// and a file that is ahead of its turn waits when it has found enough notes.
//
// A file that cannot be read is told by Done; the others are still read. The error is that of
// Note, or of ctx.
func Measure(ctx context.Context, files []string, cfg MeasureConfig) error {
	cfg.Progress.expect(len(files))
	ctx, stop := context.WithCancel(ctx)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	readings := make(chan *reading, jobs(cfg.Jobs)-1) // in the order of the files
	wg.Go(func() {
		defer close(readings)
		slots := make(chan struct{}, jobs(cfg.Jobs))
		for _, file := range files {
			r := newReading(&cfg, file)
			select {
			case slots <- struct{}{}:
			case <-ctx.Done():
				return
			}
			wg.Go(func() {
				r.run(ctx)
				<-slots
			})
			select {
			case readings <- r:
			case <-ctx.Done():
				return
			}
		}
	})
	for r := range readings {
		if err := r.report(ctx); err != nil {
			return err
		}
	}
	return ctx.Err()
}

func jobs(n int) int {
	if n > 0 {
		return n
	}
	return runtime.GOMAXPROCS(0)
}

// A reading is one file under measurement.
type reading struct {
	cfg   *MeasureConfig
	file  string
	notes chan *Note // closed at the end of the file
	part  progressPart
	count int

	// Set before notes is closed:
	several  []float64
	unlisted []Unlisted
	err      error
}

func newReading(cfg *MeasureConfig, file string) *reading {
	return &reading{cfg: cfg, file: file, notes: make(chan *Note, notesAhead), part: progressPart{whole: cfg.Progress}}
}

// report passes on the notes as they come, then the summary.
func (r *reading) report(ctx context.Context) error {
	for n := range r.notes {
		r.count++
		if err := r.cfg.Note(n); err != nil {
			return err
		}
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	r.cfg.Done(Summary{File: r.file, Notes: r.count, SeveralS: r.several, Unlisted: r.unlisted, Err: r.err})
	return nil
}

func (r *reading) run(ctx context.Context) {
	defer close(r.notes)
	defer r.part.finish()
	r.err = r.read(ctx)
}

func (r *reading) read(ctx context.Context) error {
	source, err := r.cfg.Open(ctx, r.file)
	if err != nil {
		return err
	}
	defer source.Close()
	r.part.expect(source)
	resolver, err := r.cfg.NewResolver()
	if err != nil {
		return err
	}
	if r.cfg.NewChords != nil {
		return r.readChords(ctx, source, resolver)
	}
	tracker, err := r.cfg.NewTracker(capture.TrueRate(source), func(n *pitch.Note) {
		r.found(ctx, resolver, source, n)
	})
	if err != nil {
		return fmt.Errorf("%s: %w", r.file, err)
	}
	tracker.Expect(resolver.Expected())
	err = r.pump(ctx, source, func(b capture.Block) { tracker.Push(b.Samples, b.Start, nil) })
	tracker.Flush() // also behind an error: what was read up to there counts
	return err
}

// readChords reads all strings at once.
func (r *reading) readChords(ctx context.Context, source capture.Source, resolver Resolver) error {
	tracker, err := r.cfg.NewChords(capture.TrueRate(source), resolver.Strings(), func(c *ensemble.Chord) {
		for _, n := range chordNotes(resolver, c) {
			n.File, n.SampleRate, n.Clock = r.file, source.SampleRate(), clock.Of(source)
			r.send(ctx, n)
		}
		for _, hz := range c.Unlisted {
			r.unlisted = append(r.unlisted, Unlisted{AtS: float64(c.Onset) / float64(source.SampleRate()), Hz: hz})
		}
	})
	if err != nil {
		return fmt.Errorf("%s: %w", r.file, err)
	}
	err = r.pump(ctx, source, func(b capture.Block) { tracker.Push(b.Samples, b.Start, nil) })
	tracker.Flush()
	return err
}

// found sends a copy of n with its target, unless it is several notes.
func (r *reading) found(ctx context.Context, resolver Resolver, source capture.Source, n *pitch.Note) {
	if ofSeveral(n.Partials) {
		r.several = append(r.several, float64(n.Start)/float64(source.SampleRate()))
		return
	}
	note := &Note{File: r.file, SampleRate: source.SampleRate(), Clock: clock.Of(source), Note: *n}
	note.Partials = append([]pitch.Partial(nil), n.Partials...)
	resolver.Reset()
	note.Match = resolver.Resolve(n.F1Hz, n.SigmaCents)
	r.send(ctx, note)
}

func (r *reading) send(ctx context.Context, n *Note) {
	select {
	case r.notes <- n:
	case <-ctx.Done():
	}
}

// pump feeds push until the source ends.
func (r *reading) pump(ctx context.Context, source capture.Source, push func(capture.Block)) error {
	room := make([]float64, measureBlock)
	for {
		block, err := source.Read(ctx, room)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		push(block)
		r.part.read(len(block.Samples))
	}
}
