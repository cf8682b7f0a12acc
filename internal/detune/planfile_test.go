package detune

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

func samplePlan(t testing.TB) *Plan {
	t.Helper()
	in := builtin(t, "guitar-12edo")
	measured := make([]Measured, 6)
	measured[1] = Measured{247.3, 4.1e-5}
	p := solve(t, Problem{Instrument: in, Anchor: 6, Measured: measured, Method: WorstError,
		Chords: chordsOf(t, in, "G: 3 2 0 0 0 3 as 4:5:6 weight 2", "x 3 2 0 1 0 as 5=4 4=5 1=10/1")})
	p.AcceptRisk = true
	return p
}

func TestPlanFilesRoundTrip(t *testing.T) {
	want := samplePlan(t)
	for _, name := range []string{"p.toml", "p.json"} {
		data, err := want.Encode(name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ParsePlan(name, data)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, data)
		}
		got.Obstacles = want.Obstacles // these are not kept
		if !reflect.DeepEqual(got.Chords, want.Chords) || !reflect.DeepEqual(got.Cents, want.Cents) || !reflect.DeepEqual(got.Measured, want.Measured) ||
			got.Method != want.Method || got.PureBy != want.PureBy || got.Anchor != 6 || !got.AcceptRisk || got.Instrument.ID != "guitar-12edo" {
			t.Errorf("%s: got %+v, want %+v", name, got, want)
		}
	}
	if _, err := want.Encode("p.txt"); err == nil || !strings.Contains(err.Error(), ".toml or .json") {
		t.Errorf("p.txt: %v", err)
	}
}

// A plan finds the file of its instrument from wherever it is read, and refuses one that has been
// retuned since.
func TestPlanOfInstrumentFile(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "own.toml")
	write := func(reference string) {
		text := "name='own'\ntuning='12edo'\nreference='" + reference + "'\n[[strings]]\nnote='B3'\n[[strings]]\nnote='G3'\n"
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("A4=440")
	in, err := targets.LoadInstrument(file)
	if err != nil {
		t.Fatal(err)
	}
	plan := solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "0 0 as 4:5"), Anchor: 2})
	path := filepath.Join(dir, "plans", "p.toml")
	if err := os.Mkdir(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	data, err := plan.Encode(path)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), "'../own.toml'") {
		t.Errorf("the instrument is not named from the plan:\n%s", data)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadPlan(path); err != nil {
		t.Error(err)
	}
	write("A4=441")
	if _, err := LoadPlan(path); err == nil || !strings.Contains(err.Error(), "the instrument has changed since") {
		t.Errorf("a retuned instrument: %v", err)
	}
}

func TestBadPlans(t *testing.T) {
	const head = "type='plan'\ninstrument='guitar-12edo'\n"
	for _, c := range []struct{ name, text, says string }{
		{"p.toml", "instrument='guitar-12edo'", `type "" is not "plan"`},
		{"p.toml", "type='plan'\ninstrument='lute'", "no instrument"},
		{"p.toml", head + "colour=1", `3:1: unknown key "colour"; a plan has type`},
		{"p.toml", head + "[[strings]]\nstring=2\ncents='low'", "5:7"},
		{"p.toml", head + "[[strings]]\nstring=7\ncents=1", "string 7"},
		{"p.toml", head + "[[strings]]\nstring=2\ncents=nan", "string 2: NaN cents"},
		{"p.toml", head + "[[strings]]\nstring=2\ncents=-13.7\nhz=246.9", "the instrument has changed since"},
		{"p.toml", head + "[[strings]]\nstring=2\ncents=1\nmeasured_hz=-3", "make no sense"},
		{"p.toml", head + "anchor=9\n[[chords]]\nfrets='xxx00x'\nratios='4:5'", "anchor 9"},
		{"p.toml", head + "method='guess'\n[[chords]]\nfrets='xxx00x'\nratios='4:5'", `method "guess"`},
		{"p.toml", head + "[[chords]]\nfrets='xxx00'\nratios='4:5'", "5 frets for the 6 strings"},
		{"p.toml", head + "reference='H4=440'", "H4"},
		{"p.toml", "type = ", "plan p.toml:1:"},
		{"p.json", `{"type":"plan","instrument":"guitar-12edo","colour":1}`, `unknown field "colour"; a plan has type`},
		{"p.json", `{"type":"plan","instrument":"guitar-12edo"} x`, "there is more after the plan"},
		{"p.json", `[`, "plan p.json: unexpected"},
		{"p.xml", `<plan/>`, ".toml or .json"},
	} {
		p, err := ParsePlan(c.name, []byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %+v, error %v, want %q", c.text, p, err, c.says)
		}
	}
	if _, err := LoadPlan(filepath.Join(t.TempDir(), "none.toml")); err == nil || strings.Contains(err.Error(), "open ") {
		t.Errorf("no file: %v", err)
	}
}

func FuzzParsePlan(f *testing.F) {
	for _, name := range []string{"p.toml", "p.json"} {
		data, err := samplePlan(f).Encode(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, name == "p.json")
	}
	f.Fuzz(func(t *testing.T, data []byte, asJSON bool) {
		name := "p.toml"
		if asJSON {
			name = "p.json"
		}
		p, err := ParsePlan(name, data)
		if err != nil {
			return
		}
		for i, x := range p.Cents {
			if hz := p.AfterHz(i + 1); !(hz > 0) || math.IsInf(hz, 0) || math.IsNaN(x) {
				t.Errorf("string %d: %g cents, %g Hz", i+1, x, hz)
			}
		}
		for _, c := range p.Chords {
			p.Report(c)
		}
		again, err := p.Encode(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ParsePlan(name, again); err != nil {
			t.Errorf("%v\n%s", err, again)
		}
	})
}

func TestParseChord(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	whole := chordsOf(t, in, "G: 320003 as 4:5:6:8:10:16", "3, 2, 0, 0, 0, 3 as 1/1 5/4 3/2 2/1 5/2 4/1", "3 2 0 0 0 3 as 4:5:6",
		"3 2 0 0 0 3 as 6=4 5=5 4=6 3=8 2=10 1=16 weight 1")
	for _, c := range whole {
		if !reflect.DeepEqual(c.Frets, []int{3, 0, 0, 0, 2, 3}) || len(c.Notes) != 6 || c.Notes[0].String != 6 {
			t.Errorf("%+v", c)
		}
		for i, want := range []float64{1, 1.25, 1.5, 2, 2.5, 4} {
			near(t, c.Ratios, c.Notes[i].Wanted.Sub(c.Notes[0].Wanted).Cents(), 1200*math.Log2(want), 1e-9)
		}
	}
	some := chordsOf(t, in, "D: x x 0 2 3 2 as 4=2 1=5")[0]
	if len(some.Notes) != 2 || some.FretText() != "x x 0 2 3 2" || some.String() != "D" {
		t.Errorf("%+v", some)
	}
	for _, c := range []struct{ text, says string }{
		{"320003", `write frets from the last string`},
		{"32000 as 4:5", "5 frets for the 6 strings"},
		{"3 2 0 0 0 23 as 4:5", `fret "23": string 1 of Guitar, 12edo has frets 0 to 22, or x`},
		{"3 2 0 0 0 -1 as 4:5", `fret "-1"`},
		{"320003 as 4:5:6:7:8:9:10", "7 parts for 6 strings"},
		{"320003 as 5/4 3/2", "2 parts for 6 strings"},
		{"320003 as 7:11", "no octave of a part"},
		{"xxxxx3 as 4", "fewer than two"},
		{"xxxx03 as 2=4", "fewer than two"},
		{"xxxx03 as 2=4 2=5", "two parts"},
		{"xxxx03 as 2=4 3=5", `string "3" does not sound`},
		{"xxxx03 as 4:q", "q"},
		{"xxxx03 as 4:0", "0"},
		{"xxxx03 as 4:5 weight 0", "weight"},
		{"xxxx03 as 4:5 weight NaN", "weight"},
		{strings.Repeat("x", 41) + ": xxxx03 as 4:5", "name"},
		{"a\x1b[2J: xxxx03 as 4:5", "cannot be shown"},
	} {
		if got, err := ParseChord(in, c.text); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %+v, error %v, want %q", c.text, got, err, c.says)
		}
	}
}

func FuzzParseChord(f *testing.F) {
	in := builtin(f, "guitar-12edo")
	f.Add("G: 320003 as 4:5:6 weight 2")
	f.Add("x x 0 2 3 2 as 4=2 1=5")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := ParseChord(in, text)
		if err != nil {
			return
		}
		if _, err := Solve(Problem{Instrument: in, Chords: []Chord{c}}); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	})
}

// The shapes of a chord are those that the fretboard finds, and say of themselves what it says.
func TestCommonShapes(t *testing.T) {
	in := builtin(t, "guitar-41edo-alternate")
	chords, err := targets.ParseChords(CommonChords)
	if err != nil {
		t.Fatal(err)
	}
	shapes, err := CommonShapes(context.Background(), in, chords)
	if err != nil {
		t.Fatal(err)
	}
	still := &Plan{Instrument: in, Cents: make([]float64, 6)}
	reports := still.ReportAll(shapes)
	if len(reports) < 10 {
		t.Fatalf("%d shapes", len(reports))
	}
	for _, r := range reports {
		before, after := r.Worst()
		if before != after || before > commonCents {
			t.Errorf("%s: %g cents before, %g after no move", r.Chord.FretText(), before, after)
		}
	}
	moved := &Plan{Instrument: in, Cents: []float64{0, 0, 5, 0, 0, 0}}
	reports = moved.ReportAll(shapes)
	for i := 1; i < len(reports); i++ {
		if reports[i].Loss() > reports[i-1].Loss()+0.001 {
			t.Errorf("place %d loses %g, the one before %g", i, reports[i].Loss(), reports[i-1].Loss())
		}
	}
}

// What is wrong in a plan is told with the line that it stands on.
func TestPlanErrorsHaveALine(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"type = \"pla\"\n", "plan p.toml:1:1: type"},
		{"type = \"plan\"\ninstrument = \"guitar-12edo\"\n\n[[strings]]\nstring = 9\ncents = 1\n", "plan p.toml:4:3: string 9"},
		{"type = \"plan\"\ninstrument = \"nosuch\"\n", "plan p.toml:2:1: "},
	} {
		if _, err := ParsePlan("p.toml", []byte(c.file)); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}
