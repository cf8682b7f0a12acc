package targets

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// intervalsOf writes the notes of one period from 1/1.
func intervalsOf(t *Tuning) string {
	_, n := t.Period()
	texts := make([]string, n)
	for i := range texts {
		texts[i] = t.interval(i).String()
	}
	return strings.Join(texts, " ")
}

func TestRotations(t *testing.T) {
	for spec, want := range map[string]string{
		// The sixth mode of the just major scale is its natural minor (common practice, no source).
		"1/1 9/8 5/4 4/3 3/2 5/3 15/8 rotate 5":      "1/1 9/8 6/5 27/20 3/2 8/5 9/5",
		"harmonics 8..16 rotate 4":                   "1/1 13/12 7/6 5/4 4/3 3/2 5/3 11/6", // harmonics 12 to 24
		"1/1 5/3 repeat 3/1 rotate 1":                "1/1 9/5",
		"subharmonics 4..7":                          "1/1 7/6 7/5 7/4",
		"products 2 of 1 3 5 7":                      "1/1 7/6 5/4 35/24 5/3 7/4", // from memory
		"products 1 of 4 5 6 7":                      "1/1 5/4 3/2 7/4",
		"products 3 of 2/1 3/1 5/1 7/1 repeat 100/1": "1/1 7/5 7/3 7/2",
	} {
		if got := intervalsOf(mustTuning(t, spec)); got != want {
			t.Errorf("%s: %s, want %s", spec, got, want)
		}
	}
	// Three of six factors give twenty notes (from memory).
	if _, n := mustTuning(t, "products 3 of 1 3 5 7 9 11").Period(); n != 20 {
		t.Errorf("3 of 6 factors give %d notes, want 20", n)
	}
}

func TestProductsOfSteps(t *testing.T) {
	if got := intervalsOf(mustTuning(t, `products 2 of 1 3of12edo 7of12edo`)); got != `1/1 1of3edo 7of12edo` {
		t.Errorf("got %s", got)
	}
}

// A temperament that is turned keeps its intervals between the keys as they are now named.
func TestRotatedTemperamentKeys(t *testing.T) {
	plain, turned := mustTuning(t, "quarter-comma-meantone"), mustTuning(t, "quarter-comma-meantone rotate 7")
	for _, pair := range [][4]string{
		{"G4", "B4", "C4", "E4"}, {"G#4", "Eb5", "C#4", "Ab4"}, {"Eb4", "Bb4", "Ab3", "Eb4"},
	} {
		size := func(t2 *Tuning, low, high string) Interval {
			a, err := t2.Step(low)
			if err != nil {
				t.Fatal(err)
			}
			b, err := t2.Step(high)
			if err != nil {
				t.Fatal(err)
			}
			return t2.Note(b).Interval.Sub(t2.Note(a).Interval)
		}
		if a, b := size(plain, pair[0], pair[1]), size(turned, pair[2], pair[3]); !a.Equal(b) {
			t.Errorf("%s-%s is %v, turned %s-%s is %v", pair[0], pair[1], a, pair[2], pair[3], b)
		}
	}
	if _, err := turned.Step("G#4"); err == nil || !strings.Contains(err.Error(), "Ab") {
		t.Errorf("G# in the chain Ab to C#: error %v, want one that names Ab", err)
	}
}

// Whatever the rotation, a label leads back to its step and names ascend with their pitch.
func TestRotatedLabels(t *testing.T) {
	for _, name := range Temperaments() {
		for _, by := range []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11"} {
			tuning := mustTuning(t, name+" rotate "+by)
			reference := Reference{Label: tuning.naming.name(60), Hz: 261}
			tuning, err := tuning.WithReference(reference)
			if err != nil {
				t.Errorf("%s rotate %s: %v", name, by, err)
				continue
			}
			for step := -30; step <= 30; step++ {
				if got, err := tuning.Step(tuning.label(step)); err != nil || got != step {
					t.Errorf("%v: step %d is %s, which is step %d, %v", tuning, step, tuning.label(step), got, err)
				}
			}
		}
	}
}

const scaleFile = `# five notes
name = "Ladder"
description = "mixed"
repeat = "3/1"
reference = "C4=261.6"

[[note]]
interval = "7/4"
[[note]]
interval = '24of41edo'
[[note]]
cents = 386.31
[[note]]
interval = "5/4+10c"
`

func TestTuningFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "my scale.toml")
	if err := os.WriteFile(path, []byte(scaleFile), 0o666); err != nil {
		t.Fatal(err)
	}
	tuning := mustTuning(t, path)
	if period, n := tuning.Period(); period.String() != "3/1" && period.String() != "3" || n != 5 {
		t.Errorf("period %v of %d notes", period, n)
	}
	if tuning.Name() != "Ladder" || tuning.String() != path || tuning.Reference() != (Reference{"C4", 261.6}) {
		t.Errorf("name %q, spec %q, reference %v", tuning.Name(), tuning, tuning.Reference())
	}
	near(t, "386.31c", tuning.Note(1).Interval.Cents(), 386.31, 1e-9)
	if got := tuning.Note(3).Interval.String(); got != `24of41edo` {
		t.Errorf("step 3 is %s", got)
	}
	if again := mustTuning(t, tuning.String()); intervalsOf(again) != intervalsOf(tuning) {
		t.Error("its spec does not lead back to it")
	}
}

func TestTuningFileOfSpec(t *testing.T) {
	got, err := ParseTuningFile("x.toml", []byte("spec = \"1/1 9/8 5/4 4/3 3/2 5/3 15/8\"\nrotate = 5\nreference = \"A3=220\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if intervalsOf(got) != "1/1 9/8 6/5 27/20 3/2 8/5 9/5" || got.Reference().Hz != 220 {
		t.Errorf("%s at %v", intervalsOf(got), got.Reference())
	}
}

func TestTuningFileErrors(t *testing.T) {
	for _, c := range []struct{ name, data, want string }{
		{"x.toml", "nmae = \"x\"", "x.toml:1:1: unknown key \"nmae\"; a tuning has name"},
		{"x.toml", "[[note]]\nratio = \"3/2\"", "x.toml:2:1: unknown key \"ratio\"; a note has interval or cents"},
		{"x.toml", "[[note]]\ncents = \"3/2\"", "wants a number"},
		{"x.toml", "[[note]]\ninterval = \"3/x\"", "note 1: \"3/x\" is no interval"},
		{"x.toml", "[[note]]\n", "note 1: write exactly one"},
		{"x.toml", "[[note]]\ncents = nan", "note 1: NaN cents"},
		{"x.toml", "[[note]]\ninterval = \"3/2\"\n[[note]]\ninterval = \"6/4\"", "is note"},
		{"x.toml", "", "no notes"},
		{"x.toml", "spec = \"12foo\"", `tuning "12foo"`},
		{"x.toml", "spec = \"12edo\"\nrotate = 2", "rotate changes nothing"},
		{"x.toml", "spec = \"vallotti\"\nrotate = -2", "rotate -2"},
		{"x.toml", "spec = \"vallotti\"\nrotate = 12", "0 to 11"},
		{"x.toml", "spec = \"vallotti\"\nrepeat = \"2/1\"", "either spec"},
		{"x.toml", "spec = \"x.toml\"", "does not name another file"},
		{"x.toml", "repeat = \"1/2\"\n[[note]]\ncents = 1.0", "repeat \"1/2\""},
		{"x.toml", "reference = \"A4\"\n[[note]]\ncents = 1.0", "A4=440"},
		{"x.json", "{}", "this is no tuning"},
		{"x.json", "[", "x.json: "},
		{"x.json", `{"type":"tuning","colour":1}`, "colour"},
		{"x.json", `{"type":"tuning","repeat":"2/1","notes":[{"interval":"q"}]}`, `note 1: "q"`},
		{"x.json", `{"type":"tuning"} {}`, "follows"},
		{"x.csv", "", "empty"},
		{"x.csv", "a,b\n1,2\n3,4\n", "column interval"},
		{"x.csv", "interval\n9/8\n2/1\n", `"9/8"`},
		{"x.csv", "interval\n1/1\n3/2\nz\n", `"z"`},
	} {
		_, err := ParseTuningFile(c.name, []byte(c.data))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one line with %q", c.data, err, c.want)
		}
	}
	for spec, want := range map[string]string{
		"none.toml":           "tuning none.toml: no such file",
		"products 2 of":       "products needs",
		"products 5 of 1 3":   `"5"`,
		"products 2 of 1 3 x": `"x"`,
		"products 2 of 1 3 3": `"3" is note "3"`,
		"4:5:6 rotate 9":      "0 to 2",
		"4:5:6 rotate x":      `rotate "x"`,
		"rotate 2":            `"rotate" belongs at the end`,
		"12edo rotate 3":      "changes nothing",
		"products 8 of 1 3 5 7 9 11 13 15 17 19 21 23 25 27 29 31": "12870 products",
	} {
		if _, err := ParseTuning(spec); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one that says %q", spec, err, want)
		}
	}
}

// What is written in each form is read back as the same notes at the same pitch, exactly.
func TestTuningFilesThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tuning := someTuning().Draw(t, "tuning")
		if rapid.Bool().Draw(t, "moved") {
			var err error
			if tuning, err = tuning.WithReference(Reference{"step 3", rapid.Float64Range(50, 500).Draw(t, "hz")}); err != nil {
				t.Fatal(err)
			}
		}
		for _, ending := range []string{"json", "csv", "toml"} {
			var b bytes.Buffer
			var err error
			switch ending {
			case "json":
				err = json.NewEncoder(&b).Encode(tuning.Document())
			case "csv":
				err = WriteTuningCSV(&b, tuning)
			default:
				err = WriteTuningTOML(&b, tuning)
			}
			if err != nil {
				t.Fatal(err)
			}
			back, err := ParseTuningFile("x."+ending, b.Bytes())
			if err != nil {
				t.Fatalf("%s: %v\n%s", ending, err, &b)
			}
			_, n := tuning.Period()
			if _, m := back.Period(); m != n {
				t.Fatalf("%s: %d notes, want %d", ending, m, n)
			}
			for step := -n; step <= n; step++ {
				a, z := tuning.Note(step), back.Note(step)
				if !a.Interval.Equal(z.Interval) || math.Abs(a.Hz/z.Hz-1) > 1e-12 {
					t.Fatalf("%s: step %d is %v at %v Hz, was %v at %v Hz", ending, step, z.Interval, z.Hz, a.Interval, a.Hz)
				}
			}
		}
	})
}

func FuzzParseTuningFile(f *testing.F) {
	f.Add("toml", scaleFile)
	f.Add("json", `{"type":"tuning","spec":"","repeat":"2/1","reference":"A4=440","notes":[{"step":0,"label":"A4","interval":"1/1","cents":0,"hz":440}]}`)
	f.Add("csv", "interval\n1/1\n3/2\n2/1\n")
	f.Fuzz(func(t *testing.T, ending, data string) {
		tuning, err := ParseTuningFile("x."+ending, []byte(data))
		if err != nil {
			return
		}
		if hz := tuning.Note(1).Hz; !(hz > 0) {
			t.Errorf("step 1 at %v Hz", hz)
		}
	})
}

// What is wrong in a file is told with the line that it stands on, counted by hand.
func TestErrorsOfMeaningHaveALine(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"name = \"x\"\ntuning = \"12edo\"\n[[strings]]\nnote = \"E4\"\ngauge_mm = 0.01\n", "f.toml:5:1: string 1: gauge_mm 0.01"},
		{"name = \"x\"\ntuning = \"12edoo\"\n", "f.toml:2:1: "},
		{"name = \"x\"\ntuning = \"12edo\"\nreference = \"Q4=440\"\n", "f.toml:3:1: "},
		{"name = \"x\"\ntuning = \"12edo\"\nscale_length_mm = 1\n[[strings]]\nnote = \"E4\"\n", "f.toml:3:1: scale_length_mm 1"},
		{"name = \"x\"\ntuning = \"12edo\"\n[[strings]]\nnote = \"E4\"\n[[strings]]\n\nnote = \"H9\"\n", "f.toml:7:1: string 2: "},
		{"name = \"x\"\ntuning = \"12edo\"\nfrets = { steps = [\n1,\n1] }\n[[strings]]\nnote = \"E4\"\n", "f.toml:5:1: frets: step 1 of fret 2"},
	} {
		if _, err := ParseInstrument("f.toml", []byte(c.file)); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
	for _, c := range []struct{ file, want string }{
		{"name = \"x\"\n[[note]]\ninterval = \"1/1\"\n[[note]]\ninterval = \"5:\"\n", "f.toml:5:1: note 2: "},
		{"repeat = \"1/3\"\n[[note]]\ncents = 0.0\n", "f.toml:1:1: repeat"},
		{"\n\nspec = \"12edoo\"\n", "f.toml:3:1: "},
	} {
		if _, err := ParseTuningFile("f.toml", []byte(c.file)); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}
