package evidence

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
)

// A measurement is what tunerd makes of a clip.
type measurement struct {
	clip  clip
	note  pitch.Note
	notes int // found in the clip
}

func (m measurement) errorCents() float64 { return cents(m.note.F1Hz, m.clip.RefHz) }

// flagMeaning says what makes a flagged clip hard; testdata/wav/README.md has the definitions.
var flagMeaning = map[string]string{
	"partial1-off-law>3c":                 "the lowest partial lies beside the law of the others",
	"praat>3c-explained-by-inharmonicity": "stiff string",
	"praat>3c":                            "independent readers disagree on it",
	"drift>5c":                            "the pitch moves by more than 5 cents over the window",
	"sigma>1c":                            "the reference itself is uncertain by more than 1 cent",
	"short<2s":                            "short note",
	"wobble/vibrato":                      "the player's pitch is not steady",
}

// TestRecordings compares every recorded note with its reference over the same window. The
// reference comes from another method (testdata/wav/README.md); the tolerance of a single
// unflagged clip is half a cent, or three standard uncertainties of the reference.
func TestRecordings(t *testing.T) {
	var table bytes.Buffer
	fmt.Fprintf(&table, "%-30s %11s %11s %8s %7s %7s %6s  %s\n", "clip", "reference", "tunerd Hz", "error c", "σ c", "ref σ", "notes", "flags")
	var unflagged []float64
	for _, m := range measuredClips(t) {
		off := m.errorCents()
		fmt.Fprintf(&table, "%-30s %11.5f %11.5f %+8.3f %7.3f %7.3f %6d  %s\n", m.clip.File, m.clip.RefHz, m.note.F1Hz, off, m.note.SigmaCents, m.clip.RefSigma, m.notes, strings.Join(m.clip.Flags, " "))
		if m.notes != 1 {
			t.Errorf("%s: %d notes found in a recording of one", m.clip.File, m.notes)
		}
		if !(math.Abs(off) < 100) {
			t.Errorf("%s: %+.0f cents off, another pitch", m.clip.File, off)
		}
		if len(m.clip.Flags) > 0 {
			if math.Abs(off) > 3 {
				fmt.Fprintf(&table, "    over 3 cents: %s\n", reasons(m.clip))
			}
			continue
		}
		unflagged = append(unflagged, math.Abs(off))
		if within := max(0.5, 3*m.clip.RefSigma); math.Abs(off) > within {
			t.Errorf("%s: %+.3f cents off the reference, want within %.2f", m.clip.File, off, within)
		}
	}
	slices.Sort(unflagged)
	median, worst := unflagged[len(unflagged)/2], unflagged[len(unflagged)-1]
	t.Logf("\n%s%d unflagged clips: median |error| %.3f cents, worst %.3f", &table, len(unflagged), median, worst)
	if median > 0.5 || worst > 3 {
		t.Errorf("unflagged clips: median |error| %.3f cents, want at most 0.5; worst %.3f, want at most 3", median, worst)
	}
}

func reasons(c clip) string {
	var why []string
	for _, flag := range c.Flags {
		why = append(why, flagMeaning[flag])
	}
	return strings.Join(why, "; ")
}

var measureOnce = sync.OnceValues(measureAll)

func measuredClips(t *testing.T) []measurement {
	t.Helper()
	measured, err := measureOnce()
	if err != nil {
		t.Fatal(err)
	}
	return measured
}

func measureAll() ([]measurement, error) {
	clips, err := readClips()
	if err != nil {
		return nil, err
	}
	var all []measurement
	for _, c := range clips {
		m, err := measure(c)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.File, err)
		}
		all = append(all, m)
	}
	return all, nil
}

// measure reads a clip in blocks, as the measure command does, over the reference's window.
func measure(c clip) (measurement, error) {
	src, err := capture.Open(context.Background(), c.path(), capture.Options{})
	if err != nil {
		return measurement{}, err
	}
	defer src.Close()
	m := measurement{clip: c}
	rate := float64(src.SampleRate())
	tracker, err := pitch.NewTracker(pitch.Config{
		SampleRate: rate,
		Window:     [2]float64{c.From - c.Attack, c.To - c.Attack},
		OnNote: func(n *pitch.Note) {
			m.notes++
			if overlap(n, c, rate) > overlap(&m.note, c, rate) {
				m.note = *n
			}
		},
	})
	if err != nil {
		return m, err
	}
	return m, pushAll(src, tracker)
}

// overlap is the time that a note shares with the window of the reference, s.
func overlap(n *pitch.Note, c clip, rate float64) float64 {
	return min(float64(n.End)/rate, c.To) - max(float64(n.Start)/rate, c.From)
}

func pushAll(src capture.Source, tracker *pitch.Tracker) error {
	buf := make([]float64, 4096)
	for {
		block, err := src.Read(context.Background(), buf)
		tracker.Push(block.Samples, block.Start, nil)
		if errors.Is(err, io.EOF) {
			tracker.Flush()
			return nil
		}
		if err != nil {
			return err
		}
	}
}
