package targets

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// someTuning draws a division, an unequal list or a temperament.
func someTuning() *rapid.Generator[*Tuning] {
	return rapid.Custom(func(t *rapid.T) *Tuning {
		var spec string
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			spec = fmt.Sprintf("%dedo", rapid.IntRange(1, 320).Draw(t, "n"))
		case 1:
			spec = fmt.Sprintf("%ded%d/%d", rapid.IntRange(1, 60).Draw(t, "n"), rapid.IntRange(5, 9).Draw(t, "p"), rapid.IntRange(1, 4).Draw(t, "q"))
		case 2:
			from := rapid.IntRange(1, 40).Draw(t, "from")
			spec = fmt.Sprintf("harmonics %d..%d", from, from+rapid.IntRange(1, 40).Draw(t, "more"))
			if rapid.Bool().Draw(t, "tritave") {
				spec += " repeat 3/1"
			}
		default:
			spec = rapid.SampledFrom(Temperaments()).Draw(t, "temperament")
		}
		tuning, err := ParseTuning(spec)
		if err != nil {
			t.Fatalf("%s: %v", spec, err)
		}
		return tuning
	})
}

func TestNearestFindsEveryNote(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := someTuning().Draw(t, "tuning")
		_, n := tuning.Period()
		step := rapid.IntRange(-3*n, 3*n).Draw(t, "step")
		note := tuning.Note(step)
		if got := tuning.Nearest(note.Hz); got != step {
			t.Fatalf("%v: step %d at %v Hz is nearest to step %d", tuning, step, note.Hz, got)
		}
		if got := 1200 * math.Log2(note.Hz/tuning.Reference().Hz); math.Abs(got-note.Interval.Cents()) > 1e-8 {
			t.Fatalf("%v: step %d lies at %v cents, its interval is %v cents", tuning, step, got, note.Interval.Cents())
		}
		if got, err := tuning.Step(note.Label); err != nil || got != step {
			t.Fatalf("%v: step %d is named %q, which is step %d, %v", tuning, step, note.Label, got, err)
		}
	})
}

// Nearest against a plain search over the neighbours.
func TestNearestAgainstSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := someTuning().Draw(t, "tuning")
		hz := rapid.Float64Range(100, 2000).Draw(t, "hz")
		step := tuning.Nearest(hz)
		distance := func(s int) float64 { return math.Abs(math.Log2(tuning.Note(s).Hz / hz)) }
		for s := step - 3; s <= step+3; s++ {
			if distance(s) < distance(step)-1e-12 {
				t.Fatalf("%v: %v Hz: step %d is nearer than %d", tuning, hz, s, step)
			}
		}
	})
}

func TestNearestOfNoFrequency(t *testing.T) {
	tuning := mustTuning(t, "12edo")
	for _, hz := range []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if got := tuning.Nearest(hz); got != 0 {
			t.Errorf("%v Hz is nearest to step %d, want 0", hz, got)
		}
	}
}

func TestStepsAscend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := someTuning().Draw(t, "tuning")
		step := rapid.IntRange(-200, 200).Draw(t, "step")
		if lo, hi := tuning.Note(step), tuning.Note(step+1); !(lo.Hz < hi.Hz) || lo.Interval.Cmp(hi.Interval) >= 0 {
			t.Fatalf("%v: steps %d and %d at %v and %v Hz", tuning, step, step+1, lo.Hz, hi.Hz)
		}
	})
}

func TestReferenceMovesAllAlike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := someTuning().Draw(t, "tuning")
		hz := rapid.Float64Range(MinNoteHz, MaxNoteHz).Draw(t, "hz")
		moved, err := tuning.WithReference(Reference{Label: "A4", Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		if moved.Note(0).Hz != hz {
			t.Fatalf("%v: the reference note is at %v Hz, want %v", tuning, moved.Note(0).Hz, hz)
		}
		step := rapid.IntRange(-100, 100).Draw(t, "step")
		a, b := tuning.Note(step), moved.Note(step)
		if got := b.Hz / a.Hz; math.Abs(got/(hz/440)-1) > 1e-12 || a.Label != b.Label {
			t.Fatalf("%v: step %d moved by %v, want %v; %s became %s", tuning, step, got, hz/440, a.Label, b.Label)
		}
	})
}

// Another reference note at its own pitch leaves every pitch where it was.
func TestReferenceNoteOfTheTuning(t *testing.T) {
	for _, spec := range []string{"12edo", "41edo", "22edo", "vallotti", "quarter-comma-meantone"} {
		a := mustTuning(t, spec)
		step, err := a.Step("C4")
		if err != nil {
			t.Fatal(err)
		}
		c, err := a.WithReference(Reference{Label: "C4", Hz: a.Note(step).Hz})
		if err != nil {
			t.Fatal(err)
		}
		for s := -50; s <= 50; s++ {
			was, is := a.Note(step+s), c.Note(s)
			if math.Abs(was.Hz/is.Hz-1) > 1e-12 || was.Label != is.Label {
				t.Errorf("%s: step %d from C4 is %s at %v Hz, was %s at %v Hz", spec, s, is.Label, is.Hz, was.Label, was.Hz)
			}
		}
	}
}

func TestReferenceByStep(t *testing.T) {
	tuning := mustReference(t, "13ed3", "step 13=300")
	near(t, "step 0", tuning.Note(0).Hz, 100, 1e-9) // 13 steps are 3/1
	if got := tuning.Note(13); got.Label != "step 13" || got.Hz != 300 {
		t.Errorf("step 13: %+v", got)
	}
	if got := mustReference(t, "12edo", "0=432").Note(3).Label; got != "step 3" {
		t.Errorf("12edo by step names its notes %q, want step numbers", got)
	}
}

func TestParseReference(t *testing.T) {
	for text, want := range map[string]Reference{
		"A4=440":            {"A4", 440},
		" Eb3 = 155.56 Hz ": {"Eb3", 155.56},
		"F♯2=92.5hz":        {"F♯2", 92.5},
		"0=261.6256":        {"0", 261.6256},
		"step -5=100":       {"step -5", 100},
		"C-1=8.1758":        {"C-1", 8.1758},
		"E4 +2=341":         {"E4 +2", 341},
		"432":               {"A4", 432},
		" 442.5 Hz":         {"A4", 442.5},
	} {
		if got, err := ParseReference(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		"x440":      "A4=440",
		"":          "A4=440",
		"A4=":       "frequency in Hz",
		"A4=x":      "frequency in Hz",
		"A4=440,5":  "frequency in Hz",
		"A4=1e3":    "frequency in Hz",
		"A4=nan":    "frequency in Hz",
		"A4=inf":    "frequency in Hz",
		"A4=0":      "8 to 13000",
		"A4=-440":   "8 to 13000",
		"A4=7.9":    "8 to 13000",
		"A4=13001":  "8 to 13000",
		"H4=440":    "letter",
		"A=440":     "octave",
		"=440":      "letter",
		"A44=440":   "octave",
		"A4 2=440":  "octave",
		"A####4=44": "letter",
		"A\n4=440":  "octave",
	} {
		if _, err := ParseReference(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one line with %q", text, err, says)
		}
	}
}

// MIDI key numbers of common practice and the names of octaves (A4 = 69, C4 = 60 is middle C).
func TestNoteNames(t *testing.T) {
	tuning := mustTuning(t, "12edo")
	for name, key := range map[string]int{
		"A4": 69, "a4": 69, "C4": 60, "B#3": 60, "Cb4": 59, "Db3": 49, "C♯3": 49, "bb2": 46, "B♭2": 46,
		"E#4": 65, "Fb4": 64, "C##4": 62, "G9": 127, "C-1": 0, "E4 +2": 66, "E4-1": 63, "A2": 45,
	} {
		if got, err := tuning.Step(name); err != nil || got+69 != key {
			t.Errorf("%s is key %d, %v, want %d", name, got+69, err, key)
		}
	}
}

// A fifth good enough for letters: those of the divisions in common use are, those of 5, 7, 13
// and 18 (18, -16, 36 and 31 cents off) are not; nor are divisions of other intervals.
func TestWhichDivisionsHaveLetters(t *testing.T) {
	for _, n := range []int{12, 17, 19, 22, 24, 31, 34, 41, 43, 46, 53, 72, 311, 10000} {
		if got := mustTuning(t, fmt.Sprintf("%dedo", n)).Note(0).Label; got != "A4" {
			t.Errorf("%dedo: step 0 is %q, want A4", n, got)
		}
	}
	for _, spec := range []string{"1edo", "5edo", "7edo", "13edo", "18edo", "12ed3", "4:5:6"} {
		if got := mustTuning(t, spec).Note(-3).Label; got != "step -3" {
			t.Errorf("%s: step -3 is %q", spec, got)
		}
	}
}

// Labels by the rule documented at letters. C to D is 7 steps of 41 and 4 of 22, a sharp 4 and 3.
func TestLabels(t *testing.T) {
	for spec, want := range map[string]string{
		"12edo": "A4 A#4 B4 C5 C#5 D5 D#5 E5 F5 F#5 G5 G#5 A5",
		"22edo": "A4 Bb4 A#4 -1 A#4 B4 C5 Db5 C#5 -1 C#5 D5",
		"41edo": "A4 A4 +1 Bb4 -1 Bb4 A#4 A#4 +1 B4 -1 B4 B4 +1 C5 -1 C5",
		"24edo": "A4 A4 +1 A#4 B4 -1 B4 B4 +1 C5",
	} {
		tuning := mustTuning(t, spec)
		var got []string
		for step := range strings.Count(want, "4") + strings.Count(want, "5") {
			got = append(got, tuning.Note(step).Label)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s: %s, want %s", spec, s, want)
		}
	}
}
