package targets

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// exactDigits is half a unit of the sixth decimal, to which the exact columns are printed.
const exactDigits = 0.51e-6

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.7f, want %.7f within %g", what, got, want, tolerance)
	}
}

// checkPublished compares with the exact column and, where the source prints a figure, with that.
func checkPublished(t *testing.T, what string, r row, got float64, exact, published string) {
	t.Helper()
	near(t, what, got, r.number(t, exact), exactDigits)
	if r[published] != "" {
		near(t, what+" as published", got, r.number(t, published), r.unit(published))
	}
}

func TestIntervalSizes(t *testing.T) {
	for _, r := range table(t, "intervals.csv") {
		text := r["num"] + "/" + r["den"]
		checkPublished(t, text, r, mustInterval(t, text).Cents(), "cents_exact", "cents_published")
	}
}

func TestEqualTemperedFrequencies(t *testing.T) {
	tuning := mustTuning(t, "12edo")
	for _, r := range table(t, "equal_tempered_frequencies.csv") {
		note := tuning.Note(r.integer(t, "midi_note") - 69)
		checkPublished(t, r["name"], r, note.Hz, "hz_exact", "hz_published")
		if note.Label != r["name"] {
			t.Errorf("step %d is %s, want %s", note.Step, note.Label, r["name"])
		}
	}
}

func TestEqualDivisions(t *testing.T) {
	for _, r := range table(t, "equal_divisions.csv") {
		n, steps := r.integer(t, "divisions"), r.integer(t, "steps_published_or_best")
		what := strconv.Itoa(steps) + `\` + strconv.Itoa(n)
		tuning := mustTuning(t, strconv.Itoa(n)+"edo")
		note := tuning.Note(steps)
		checkPublished(t, what, r, note.Interval.Cents(), "cents_exact", "cents_published")
		near(t, what+" from Hz", 1200*math.Log2(note.Hz/440), note.Interval.Cents(), 1e-9)

		ratio := mustInterval(t, r["ratio"])
		checkPublished(t, what+" against "+r["ratio"], r, note.Interval.Cents()-ratio.Cents(), "error_exact", "error_published")
		if got := tuning.Nearest(440 * ratio.ratio()); got != r.integer(t, "steps_best") {
			t.Errorf("%dedo: %s is nearest to step %d, want %s", n, r["ratio"], got, r["steps_best"])
		}
	}
}

func TestNonOctaveDivisions(t *testing.T) {
	for _, r := range table(t, "nonoctave_divisions.csv") {
		spec := r["divisions"] + "ed" + strings.TrimSuffix(r["period"], "/1")
		note := mustTuning(t, spec).Note(r.integer(t, "step"))
		what := spec + " step " + r["step"]
		checkPublished(t, what, r, note.Interval.Cents(), "cents_exact", "cents_published")
		near(t, what+" from Hz", 1200*math.Log2(note.Hz/440), note.Interval.Cents(), 1e-9)
		if r["just_ratio"] != "" {
			near(t, what+" against "+r["just_ratio"],
				note.Interval.Cents()-mustInterval(t, r["just_ratio"]).Cents(), r.number(t, "error_vs_just"), exactDigits)
		}
	}
}

// The published sizes of tone and semitones in a division are what its letters must be apart.
func TestLettersAgreeWithStepSizes(t *testing.T) {
	pairs := map[string][2]string{
		"whole tone":         {"C4", "D4"},
		"diatonic semitone":  {"E4", "F4"},
		"chromatic semitone": {"F4", "F#4"},
	}
	for _, r := range table(t, "edo_step_sizes.csv") {
		pair, ok := pairs[r["quantity"]]
		if !ok {
			t.Fatalf("unknown quantity %q", r["quantity"])
		}
		tuning := mustTuning(t, r["divisions"]+"edo")
		low, errLow := tuning.Step(pair[0])
		high, errHigh := tuning.Step(pair[1])
		if errLow != nil || errHigh != nil {
			t.Errorf("%v: %v, %v", tuning, errLow, errHigh)
			continue
		}
		if high-low != r.integer(t, "steps") {
			t.Errorf("%v: %s to %s is %d steps, want %s", tuning, pair[0], pair[1], high-low, r["steps"])
		}
		size := tuning.Note(high).Interval.Sub(tuning.Note(low).Interval)
		checkPublished(t, r["quantity"], r, size.Cents(), "cents_exact", "cents_published")
	}
}
