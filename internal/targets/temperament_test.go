package targets

import (
	"math"
	"strings"
	"testing"
)

func TestTemperaments(t *testing.T) {
	specs := map[string]string{
		"Werckmeister III":                "werckmeister-3",
		"Kirnberger III":                  "kirnberger-3",
		"Vallotti":                        "vallotti",
		"Young 2":                         "young-2",
		"quarter-comma meantone (Eb..G#)": "quarter-comma-meantone",
		"Pythagorean (Eb..G#)":            "pythagorean",
		"12-equal":                        "12edo",
	}
	checked := map[string]bool{}
	for _, r := range table(t, "temperaments.csv") {
		spec := specs[r["temperament"]]
		tuning := mustReference(t, spec, "C4=261.6")
		step, err := tuning.Step(r["note"] + "4")
		if err != nil {
			t.Errorf("%s %s: %v", spec, r["note"], err)
			continue
		}
		near(t, spec+" "+r["note"], tuning.Note(step).Interval.Cents(), r.number(t, "cents_from_C"), exactDigits)

		atA := mustTuning(t, spec) // A4=440
		if step, err = atA.Step(r["note"] + "4"); err != nil {
			t.Fatal(err)
		}
		offset := 1200*math.Log2(atA.Note(step).Hz/440) - 100*float64(step)
		near(t, spec+" "+r["note"]+" re A", offset, r.number(t, "offset_from_12equal_A_ref"), 1e-6)
		checked[spec] = true
	}
	for _, name := range Temperaments() {
		if !checked[name] {
			t.Errorf("%s is not in the table", name)
		}
	}
}

func TestWerckmeisterPublishedFrequencies(t *testing.T) {
	tuning := mustTuning(t, "werckmeister-3")
	for _, r := range table(t, "werckmeister3_hz.csv") {
		note := tuning.Note(r.integer(t, "midi_note") - 69)
		if got := strings.TrimRight(note.Label, "34"); got != r["note"] {
			t.Errorf("key %s is %s, want %s", r["midi_note"], got, r["note"])
		}
		near(t, r["note"], note.Hz, r.number(t, "hz_published"), r.unit("hz_published"))
	}
}

func TestMeantonePublishedIntervals(t *testing.T) {
	pairs := map[string][2]string{
		"minor second": {"E4", "F4"}, "major second": {"C4", "D4"}, "minor third": {"A3", "C4"},
		"major third": {"C4", "E4"}, "perfect fourth": {"C4", "F4"}, "augmented fourth": {"C4", "F#4"},
		"diminished fifth": {"F#4", "C5"}, "perfect fifth": {"C4", "G4"}, "wolf fifth": {"G#4", "Eb5"},
		"minor sixth": {"E4", "C5"}, "major sixth": {"C4", "A4"}, "minor seventh": {"D4", "C5"},
		"major seventh": {"C4", "B4"},
	}
	tuning := mustTuning(t, "quarter-comma-meantone")
	for _, r := range table(t, "meantone_intervals.csv") {
		pair, ok := pairs[r["interval"]]
		if !ok {
			t.Fatalf("unknown interval %q", r["interval"])
		}
		low, errLow := tuning.Step(pair[0])
		high, errHigh := tuning.Step(pair[1])
		if errLow != nil || errHigh != nil {
			t.Fatal(errLow, errHigh)
		}
		size := tuning.Note(high).Interval.Sub(tuning.Note(low).Interval)
		checkPublished(t, r["interval"], r, size.Cents(), "cents_exact", "cents_published")
	}
}

// What the constructions are for: the intervals that must be pure are pure, exactly.
func TestTemperamentsPureIntervals(t *testing.T) {
	for _, c := range []struct{ spec, low, high, ratio string }{
		{"quarter-comma-meantone", "C4", "E4", "5/4"},
		{"quarter-comma-meantone", "E4", "G#4", "5/4"},
		{"kirnberger-3", "C4", "E4", "5/4"}, // Kirnberger to Forkel
		{"werckmeister-3", "A3", "E4", "3/2"},
		{"vallotti", "B3", "F#4", "3/2"},
		{"pythagorean", "Eb4", "Bb4", "3/2"},
	} {
		tuning := mustTuning(t, c.spec)
		low, _ := tuning.Step(c.low)
		high, _ := tuning.Step(c.high)
		got := tuning.Note(high).Interval.Sub(tuning.Note(low).Interval)
		if !got.Equal(mustInterval(t, c.ratio)) {
			t.Errorf("%s: %s to %s is %v, want %s", c.spec, c.low, c.high, got, c.ratio)
		}
	}
}

func TestTemperamentKeyNames(t *testing.T) {
	if _, err := mustTuning(t, "vallotti").Step("D#4"); err != nil {
		t.Errorf("D# is a key of a circular temperament: %v", err)
	}
	_, err := mustTuning(t, "quarter-comma-meantone").Step("D#4")
	if err == nil || !strings.Contains(err.Error(), "Eb") {
		t.Errorf("D#4 in meantone with Eb: error %v, want one that names Eb", err)
	}
}
