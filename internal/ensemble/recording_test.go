package ensemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/stiffstring"
	"tunerd/internal/testkit"
)

func load(t *testing.T, path string) ([]float64, float64) {
	t.Helper()
	src, err := capture.Open(context.Background(), path, capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var x []float64
	room := make([]float64, 4096)
	for {
		b, err := src.Read(context.Background(), room)
		if errors.Is(err, io.EOF) {
			return x, float64(src.SampleRate())
		}
		if err != nil {
			t.Fatal(err)
		}
		x = append(x, b.Samples...)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestRecordedChords reads the recorded mixes chord by chord and compares each string with the
// reference pitch of the single note that went into the mix, which other programs have found (see
// testdata/wav/README.md). Within 2 cents, or σ must say why not.
func TestRecordedChords(t *testing.T) {
	const dir = "../../testdata/wav/chords"
	parts := map[string][]map[string]string{}
	for _, row := range testkit.Table(t, filepath.Join(dir, "chords.csv")) {
		parts[row["file"]] = append(parts[row["file"]], row)
	}
	for _, file := range slices.Sorted(maps.Keys(parts)) {
		rows := parts[file]
		t.Run(file, func(t *testing.T) {
			x, rate := load(t, filepath.Join(dir, file))
			var told []String
			for i, row := range rows {
				equal := 440 * math.Exp2((number(t, row["midi"])-69)/12)
				told = append(told, String{Number: i + 1, Label: row["nominal"], Hz: equal})
			}
			chords := 0
			tracker, err := NewTracker(TrackerConfig{
				Config:  Config{SampleRate: rate, Strings: told},
				OnChord: func(c *Chord) { chords++; compare(t, c, rows) },
			})
			if err != nil {
				t.Fatal(err)
			}
			tracker.Push(x, 0, nil)
			tracker.Flush()
			if chords != 1 {
				t.Errorf("%d chords found, want 1", chords)
			}
		})
	}
}

func compare(t *testing.T, c *Chord, rows []map[string]string) {
	for i, r := range c.Strings {
		off := stiffstring.CentsPerNeper * math.Log(r.F1Hz/number(t, rows[i]["ref_f1_hz"]))
		sigma := math.Hypot(r.SigmaCents, number(t, rows[i]["ref_sigma_cents"]))
		told := map[bool]string{true: "sounding"}[r.Sounding]
		if r.Hidden {
			told = "hidden"
		}
		fmt.Fprintf(&report.recorded, "| %s | %s | %+.2f | %.2f | %s |\n", rows[i]["chord"], r.String.Label, off, sigma, told)
		t.Logf("%s: sounding %v, hidden %v, %+.2f ± %.2f cents", r.String.Label, r.Sounding, r.Hidden, off, sigma)
		switch {
		case !r.Sounding && !r.Hidden:
			t.Errorf("%s is told silent", r.String.Label)
		case math.Abs(off) > math.Max(2, 1.96*sigma):
			t.Errorf("%s is %+.2f ± %.2f cents off its single note", r.String.Label, off, sigma)
		}
	}
}
