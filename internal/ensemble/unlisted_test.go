package ensemble

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/stiffstring"
	"tunerd/internal/testkit"
)

// wholeChord reads the longest chord of a recording.
func wholeChord(t *testing.T, x []float64, rate float64, told []String) (unlisted []float64) {
	t.Helper()
	longest := int64(0)
	tracker := newTracker(t, TrackerConfig{
		Config: Config{SampleRate: rate, Strings: told},
		OnChord: func(c *Chord) {
			if c.End-c.Onset > longest {
				longest, unlisted = c.End-c.Onset, slices.Clone(c.Unlisted)
			}
		},
	})
	tracker.Push(x, 0, nil)
	tracker.Flush()
	return unlisted
}

// TestUnlisted leaves one string after the other of a chord out of the list: it is named if it has partials of its own,
// and none is when all are listed.
func TestUnlisted(t *testing.T) {
	named, left := 0, 0
	for _, chord := range chords[:2] {
		for seed := range uint64(*trials) {
			c := trial{hz: chord.hz, spread: 20, real: true, seconds: 1, snr: 40, muted: -1, seed: seed, rate: 48000}
			x, told, offsets := c.make()
			for drop := -1; drop < len(told); drop++ {
				listed := slices.Clone(told)
				if drop >= 0 {
					listed = slices.Delete(listed, drop, drop+1)
				}
				r, err := NewReader(Config{SampleRate: c.rate, Strings: listed})
				if err != nil {
					t.Fatal(err)
				}
				if _, err := r.Read(x); err != nil {
					t.Fatal(err)
				}
				found := false
				for _, hz := range r.unlisted {
					if drop >= 0 && math.Abs(stiffstring.Cents(hz, told[drop].Hz)-offsets[drop]) < 10 {
						found = true
					} else {
						t.Errorf("%s, seed %d, without string %d: %.2f Hz named", chord.name, seed, drop+1, hz)
					}
				}
				if drop >= 0 && !coveredByOthers(told, drop) {
					left++
					if found {
						named++
					}
				}
			}
		}
	}
	t.Logf("%d of %d strings left out of the list are named", named, left)
	if 5*named < 4*left {
		t.Errorf("%d of %d strings left out of the list are named, want four in five", named, left)
	}
}

// coveredByOthers reports whether the partials of a string, or every other one, are those of another.
func coveredByOthers(told []String, i int) bool {
	for j := range told {
		for _, ratio := range []float64{2, 3, 4, 1.5} {
			if j != i && math.Abs(stiffstring.Cents(told[i].Hz, ratio*told[j].Hz)) < 50 {
				return true
			}
		}
	}
	return false
}

// TestUnlistedOfStrums does the same with recorded strums, of which it leaves out one.
func TestUnlistedOfStrums(t *testing.T) {
	const dir = "../../testdata/wav/strums"
	named, left := 0, 0
	for _, row := range testkit.Table(t, filepath.Join(dir, "manifest.csv")) {
		if row["kind"] != "strum" || row["channel"] != "phone" { // the overdriven ones, which are harder
			continue
		}
		x, rate := load(t, filepath.Join(dir, row["file"]))
		var told []String
		notes := strings.Fields(row["notes"])
		for i, name := range notes {
			told = append(told, String{Number: i + 1, Label: name, Hz: noteHz(t, name)})
		}
		if unlisted := wholeChord(t, x, rate, told); len(unlisted) > 0 {
			t.Errorf("%s: %.2f Hz named though all strings are listed", row["file"], unlisted)
		}
		drop := len(notes) / 2
		hz := told[drop].Hz
		unlisted := wholeChord(t, x, rate, slices.Delete(told, drop, drop+1))
		left++
		for _, f := range unlisted {
			if math.Abs(stiffstring.Cents(f, hz)) < 60 {
				named++
			} else {
				t.Errorf("%s without %s: %.2f Hz named", row["file"], notes[drop], f)
			}
		}
	}
	t.Logf("%d of %d strings left out of the list are named", named, left)
	if named == 0 {
		t.Error("no string left out of the list is named")
	}
}

// noteHz returns the pitch of a note such as F#3 in twelve equal steps at A4 = 440 Hz.
func noteHz(t *testing.T, name string) float64 {
	t.Helper()
	steps := map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}
	step := steps[name[0]]
	rest, sharp := strings.CutPrefix(name[1:], "#")
	if sharp {
		step++
	}
	return 440 * math.Exp2((float64(step)-9)/12+number(t, rest)-4)
}
