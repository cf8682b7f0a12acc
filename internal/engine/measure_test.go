package engine

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
)

// A beater is a tracker that finds a note in every block.
type beater struct {
	onNote func(*pitch.Note)
	found  *atomic.Int64
}

func (b *beater) Push(samples []float64, start int64, _ func(*pitch.Reading)) {
	b.found.Add(1)
	b.onNote(&pitch.Note{Reading: sounding(330), Start: start, End: start + int64(len(samples))})
}

func (b *beater) Flush() {}

func (b *beater) Expect(float64, []float64) {}

// bench is a set of recordings by name and what came of them.
type bench struct {
	files map[string]*script
	found atomic.Int64
	lines []string
}

func (b *bench) config(jobs int) MeasureConfig {
	return MeasureConfig{
		Jobs: jobs,
		Open: func(_ context.Context, file string) (capture.Source, error) {
			if src, ok := b.files[file]; ok {
				return src, nil
			}
			return nil, fmt.Errorf("%s: no such file", file)
		},
		NewTracker: func(_ float64, onNote func(*pitch.Note)) (Tracker, error) {
			return &beater{onNote: onNote, found: &b.found}, nil
		},
		NewResolver: func() (Resolver, error) { return &guitar{}, nil },
		Note: func(n *Note) error {
			b.lines = append(b.lines, fmt.Sprintf("%s %.2f-%.2f", n.File, n.StartS(), n.EndS()))
			return nil
		},
		Done: func(s Summary) { b.lines = append(b.lines, fmt.Sprintf("%s: %d %v", s.File, s.Notes, s.Err)) },
	}
}

func TestMeasureKeepsTheOrderOfTheFiles(t *testing.T) {
	cut := errors.New("cut short")
	for _, jobs := range []int{1, 2, 5} {
		b := &bench{files: map[string]*script{
			// the first file is the slowest
			"a": {rate: 1000, steps: []step{{n: 500, wait: after(50 * time.Millisecond)}, {n: 500}}},
			"b": {rate: 2000, steps: blocks(1, 500)},
			"c": {rate: 1000, steps: []step{{n: 500}, {err: cut}}},
			"d": {rate: 1000},
		}}
		if err := Measure(t.Context(), []string{"a", "b", "missing", "c", "d"}, b.config(jobs)); err != nil {
			t.Fatal(err)
		}
		want := []string{
			"a 0.00-0.50", "a 0.50-1.00", "a: 2 <nil>", "b 0.00-0.25", "b: 1 <nil>",
			"missing: 0 missing: no such file", "c 0.00-0.50", "c: 1 cut short", "d: 0 <nil>",
		}
		if !slices.Equal(b.lines, want) {
			t.Errorf("jobs=%d:\n%s\nwant\n%s", jobs, strings.Join(b.lines, "\n"), strings.Join(want, "\n"))
		}
	}
}

// A later file that is full of notes does not pile them up while an earlier one is still read.
func TestMeasureBoundsWhatWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		b := &bench{files: map[string]*script{
			"slow": {rate: 1000, steps: []step{{n: 500, wait: release}}},
			"busy": {rate: 1000, steps: blocks(100*notesAhead, 1)},
		}}
		ended := make(chan error, 1)
		go func() { ended <- Measure(t.Context(), []string{"slow", "busy"}, b.config(2)) }()
		synctest.Wait()
		if n := b.found.Load(); n > notesAhead+1 {
			t.Errorf("%d notes wait for their turn, want at most %d", n, notesAhead+1)
		}
		close(release)
		if err := <-ended; err != nil {
			t.Fatal(err)
		}
		if n := len(b.lines); n != 1+100*notesAhead+2 {
			t.Errorf("%d lines, want one for each of %d notes and 2 files", n, 1+100*notesAhead)
		}
	})
}

func TestMeasureStopsWhenTheOutputFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &bench{files: map[string]*script{"a": {rate: 1000, steps: blocks(10000, 10)}, "b": {rate: 1000, steps: blocks(10000, 10)}}}
		broken := errors.New("broken pipe")
		cfg := b.config(2)
		cfg.Note = func(*Note) error { return broken }
		if err := Measure(t.Context(), []string{"a", "b", "a"}, cfg); !errors.Is(err, broken) {
			t.Errorf("Measure = %v, want the error of the output", err)
		}
		if len(b.lines) != 0 {
			t.Errorf("reported after the output failed: %q", b.lines)
		}
	})
}

func TestMeasureEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		b := &bench{files: map[string]*script{"a": {rate: 1000, steps: []step{{n: 5}, {wait: make(chan struct{})}}}}}
		ended := make(chan error, 1)
		go func() { ended <- Measure(ctx, []string{"a", "missing"}, b.config(1)) }()
		synctest.Wait()
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Measure = %v, want context.Canceled", err)
		}
		if slices.ContainsFunc(b.lines, func(l string) bool { return strings.Contains(l, "canceled") }) {
			t.Errorf("an interrupted file is reported as bad: %q", b.lines)
		}
	})
}
