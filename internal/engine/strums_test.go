package engine_test

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"tunerd/internal/accuracy/recorded"
	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A census counts what frames say.
type census struct {
	notes                            []string // that sound
	one, several, phantoms, doubtful int
	first                            display.Frame // phantom
}

// aQuarterTone is how far off a note is another, in cents.
const aQuarterTone = 50

func (c *census) Show(f *display.Frame) error {
	switch f.State {
	case display.Several:
		c.several++
	case display.Unsure:
		c.doubtful++
	case display.Sounding:
		c.one++
		if !slices.Contains(c.notes, f.Target.Label) || math.Abs(f.Cents) > aQuarterTone {
			if c.phantoms == 0 {
				c.first = *f
			}
			c.phantoms++
		}
	}
	return nil
}

// Where single notes are expected and a guitar is strummed, no note is shown that no string has.
func TestStrumsAreNoNoteBelowTheStrings(t *testing.T) {
	strums, err := recorded.ReadStrums(filepath.Join(recordings, "strums"))
	if err != nil {
		t.Fatal(err)
	}
	several := 0
	for _, s := range strums {
		c := &census{}
		for _, n := range s.Notes {
			c.notes = append(c.notes, n.Name)
		}
		if err := session(t, open(t, filepath.Join("strums", s.File()), capture.Options{}), 512, c).Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		several += c.several
		if c.phantoms > 0 {
			t.Errorf("%s: %d of %d frames show one note that no string has, first %.1f ± %.1f cents Hz at %.2f s",
				s.File(), c.phantoms, c.one+c.several+c.doubtful, c.first.F1Hz, c.first.SigmaCents, c.first.TimeS)
		}
	}
	if several == 0 {
		t.Error("no frame says that several notes sound")
	}
	t.Logf("%d frames of %d strums say that several notes sound", several, len(strums))
}

// The same as recordings: what is several notes is not reported as one, and said.
func TestRecordedStrumsAreNoNoteBelowTheStrings(t *testing.T) {
	strums, err := recorded.ReadStrums(filepath.Join(recordings, "strums"))
	if err != nil {
		t.Fatal(err)
	}
	var files []string
	notes := map[string][]recorded.StrumNote{}
	for _, s := range strums {
		files = append(files, s.Path)
		notes[s.Path] = s.Notes
	}
	roots, told := 0, 0
	err = engine.Measure(t.Context(), files, engine.MeasureConfig{
		Open: func(ctx context.Context, file string) (capture.Source, error) {
			return capture.Open(ctx, file, capture.Options{})
		},
		NewTracker: func(rate float64, onNote func(*pitch.Note)) (engine.Tracker, error) {
			return pitch.NewTracker(pitch.Config{SampleRate: rate, OnNote: onNote})
		},
		NewResolver: func() (engine.Resolver, error) { return targets.NewResolver(targets.ResolverConfig{}) },
		Note: func(n *engine.Note) error {
			if !slices.ContainsFunc(notes[n.File], func(s recorded.StrumNote) bool { return s.Name == n.Match.Target.Label }) {
				roots++
				t.Logf("%s: %s %+.1f ± %.1f cents", filepath.Base(n.File), n.Match.Target.Label, n.Match.Cents, n.SigmaCents)
			}
			return nil
		},
		Done: func(s engine.Summary) { told += min(1, len(s.SeveralS)) },
	})
	if err != nil {
		t.Fatal(err)
	}
	if roots > 0 || told < len(strums)/2 {
		t.Errorf("%d notes that no string has, several notes said of %d of %d strums", roots, told, len(strums))
	}
}

// takenForSeveral is the part of the frames of single notes that may say that several sound. What is left are the
// first readings of a contrabass of which partials 2, 3, 9, 10 and 12 are heard then, as of an octave and a twelfth.
const takenForSeveral = 0.002

// A single note is not taken for several.
func TestSingleNotesAreNotSeveral(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(recordings, "*.flac"))
	if err != nil || len(files) < 20 {
		t.Fatalf("%d recordings, %v", len(files), err)
	}
	one, several := 0, 0
	for _, path := range files {
		c := &census{}
		if err := session(t, open(t, filepath.Base(path), capture.Options{}), 512, c).Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		one, several = one+c.one, several+c.several
		if c.several > 0 {
			t.Logf("%s: %d of %d frames say that several notes sound", filepath.Base(path), c.several, c.one+c.several)
		}
	}
	if part := float64(several) / float64(one+several); part > takenForSeveral {
		t.Errorf("%d of %d frames of %d recordings say that several notes sound, want %.1f %% at most", several, one+several, len(files), 100*takenForSeveral)
	}
}
