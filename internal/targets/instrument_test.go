package targets

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/strict"
)

func mustInstrument(t testing.TB, name string) *Instrument {
	t.Helper()
	in, err := LoadInstrument(name)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// Usual tunings, from the string that players call the first (common practice, no source); the
// frequencies of equal temperament are checked against their own table.
func TestBuiltinTunings(t *testing.T) {
	for name, want := range map[string]string{
		"guitar-12edo":       "E4 B3 G3 D3 A2 E2",
		"bass-5-12edo":       "G2 D2 A1 E1 B0",
		"bass-31edo":         "G2 D2 A1 E1",
		"ukulele-12edo":      "A4 E4 C4 G4",
		"violin":             "E5 A4 D4 G3",
		"dulcimer-22edo":     "D3 A3 D4 F#4 -1 A4",
		"lapsteel-harmonics": "9/4 2/1 7/4 3/2 5/4 1/1",
	} {
		var labels []string
		for i, s := range mustInstrument(t, name).Targets() {
			labels = append(labels, s.Label)
			if s.String != i+1 || s.Fret != 0 {
				t.Errorf("%s: string %d is %+v", name, i+1, s)
			}
		}
		if got := strings.Join(labels, " "); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}

func TestBuiltinIntervals(t *testing.T) {
	between := func(name string, low, high int) float64 {
		s := mustInstrument(t, name).Strings
		return 1200 * math.Log2(s[high-1].Open.Hz/s[low-1].Open.Hz)
	}
	fifth := 701.955001 // 3/2, intervals.csv
	for n := 1; n < 4; n++ {
		near(t, "violin: fifth between strings", between("violin", n+1, n), fifth, exactDigits)
	}
	for n := 1; n < 6; n++ {
		near(t, "41edo guitar: 13 steps between strings", between("guitar-41edo-alternate", n+1, n), 380.487805, exactDigits) // 13of41edo, equal_divisions.csv
	}
	lap := mustInstrument(t, "lapsteel-harmonics").Strings
	for i, harmonic := range []float64{9, 8, 7, 6, 5, 4} {
		near(t, "lap steel", lap[i].Open.Hz, 146.8324/4*harmonic, 1e-9)
	}
	near(t, "dulcimer D3 to D4", between("dulcimer-22edo", 1, 3), 1200, 1e-9)
}

// An odd distance between strings and frets at every second step: together the strings have all
// 41 notes of the octave.
func TestAlternateFretsReachAllSteps(t *testing.T) {
	in := mustInstrument(t, "guitar-41edo-alternate")
	have := map[int]bool{}
	for n, s := range in.Strings {
		for fret := range len(s.Frets) + 1 {
			target, err := in.Fretted(n+1, fret)
			if err != nil {
				t.Fatal(err)
			}
			have[floorMod(target.Step, 41)] = true
			if want := in.Tuning.Note(s.Open.Step + 2*fret); target.Label != want.Label || math.Abs(target.Hz/want.Hz-1) > 1e-12 {
				t.Errorf("string %d fret %d: %+v, want %+v", n+1, fret, target, want)
			}
		}
	}
	if len(have) != 41 {
		t.Errorf("%d of 41 steps lie on the frets", len(have))
	}
}

// No plain steel string of a built-in is stretched beyond 80 % of the least tensile strength of
// music wire of its gauge (ASTM A228), and the linear densities of plain strings are those of steel.
// Tension by T = μ(2Lf)².
func TestBuiltinStringsHold(t *testing.T) {
	const density = 7850.0 // kg/m3, steel, handbook value from memory
	rows := table(t, "music_wire_strength.csv")
	strength := func(mm float64) float64 { // of the nearest thicker wire, MPa; thicker is weaker
		for _, r := range rows {
			if r.number(t, "diameter_mm") >= mm-1e-3 {
				return r.number(t, "tensile_min_MPa")
			}
		}
		t.Fatalf("no wire of %g mm in the table", mm)
		return 0
	}
	checked := 0
	for _, in := range Builtins() {
		for i, s := range in.Strings {
			if s.Material != "plain steel" {
				continue
			}
			checked++
			area := math.Pi / 4 * s.GaugeMM * s.GaugeMM * 1e-6
			if s.LinearDensity != 0 {
				near(t, in.ID+": linear density over that of steel wire", s.LinearDensity/(density*area), 1, 0.01)
			}
			v := 2 * s.ScaleLengthMM / 1000 * s.Open.Hz
			if stress := density * v * v / 1e6; stress > 0.8*strength(s.GaugeMM) {
				t.Errorf("%s string %d: %.0f MPa of %.0f MPa", in.ID, i+1, stress, strength(s.GaugeMM))
			}
		}
	}
	if checked == 0 {
		t.Error("no plain steel string")
	}
}

func TestBuiltinNames(t *testing.T) {
	for _, in := range Builtins() {
		if got := mustInstrument(t, in.ID); got != in {
			t.Errorf("%s loads %s", in.ID, got.ID)
		}
	}
	_, err := LoadInstrument("banjo")
	for _, in := range Builtins() {
		if err == nil || !strings.Contains(err.Error(), in.ID) {
			t.Errorf("unknown name: error %v does not name %s", err, in.ID)
		}
	}
}

const workshopFile = "\ufeff" + `name = "Workshop"
tuning = "31edo"
reference = "C4=256"
scale_length_mm = 600
frets = { steps = [2, 3, 5] }
[[strings]]
note = "G4"
inharmonicity = 2e-5
[[strings]]
step = -13
scale_length_mm = 700
frets = { count = 2, every = 4 }
[[strings]]
interval = "5/8"
[[strings]]
hz = 100
`

func TestLoadInstrumentFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "workshop.toml")
	if err := os.WriteFile(path, []byte(workshopFile), 0o644); err != nil {
		t.Fatal(err)
	}
	in := mustInstrument(t, path)
	if in.ID != path || in.Name != "Workshop" || in.Strings[0].Inharmonicity != 2e-5 {
		t.Errorf("%+v", in)
	}
	for i, want := range []struct {
		label string
		hz    float64
		step  int
		scale float64
		frets []float64 // cents: steps of 38.7 cents
	}{
		{"G4", 256 * math.Exp2(18./31), 18, 600, []float64{2 * 1200. / 31, 3 * 1200. / 31, 5 * 1200. / 31}},
		{"G3", 256 * math.Exp2(-13./31), -13, 700, []float64{4 * 1200. / 31, 8 * 1200. / 31}},
		{"5/8", 160, -21, 600, []float64{2 * 1200. / 31, 3 * 1200. / 31, 5 * 1200. / 31}},
		{"100 Hz", 100, -42, 600, []float64{2 * 1200. / 31, 3 * 1200. / 31, 5 * 1200. / 31}},
	} {
		s := in.Strings[i]
		if s.Open.Label != want.label || s.Open.Step != want.step || s.ScaleLengthMM != want.scale || len(s.Frets) != len(want.frets) {
			t.Errorf("string %d: %+v, want %+v", i+1, s, want)
			continue
		}
		near(t, want.label, s.Open.Hz, want.hz, 1e-9)
		for j, f := range s.Frets {
			near(t, want.label+" fret", f.Cents, want.frets[j], 1e-9)
		}
	}
	top, err := in.Fretted(3, 3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "third fret of 160 Hz", top.Hz, 160*math.Exp2(5./31), 1e-9)
}

func TestFrettedRefuses(t *testing.T) {
	in := mustInstrument(t, "guitar-12edo")
	for _, c := range []struct {
		n, fret int
		says    string
	}{{0, 0, "strings 1 to 6"}, {7, 0, "strings 1 to 6"}, {1, -1, "frets 0 to 22"}, {1, 23, "frets 0 to 22"}} {
		if _, err := in.Fretted(c.n, c.fret); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("string %d fret %d: %v", c.n, c.fret, err)
		}
	}
}

func TestInstrumentWithReference(t *testing.T) {
	in := mustInstrument(t, "dulcimer-22edo") // its reference is D3
	moved, err := in.With(nil, &Reference{"A4", 442})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "A4, string 5", moved.Strings[4].Open.Hz, 442, 1e-9)
	by := moved.Strings[0].Open.Hz / in.Strings[0].Open.Hz
	for i, s := range moved.Strings {
		was := in.Strings[i].Open
		if s.Open.Label != was.Label || s.Open.Step != was.Step || math.Abs(s.Open.Hz/was.Hz/by-1) > 1e-12 {
			t.Errorf("string %d: %+v, was %+v", i+1, s.Open, was)
		}
	}
	if got := moved.Tuning.Reference().String(); got != "A4=442 Hz" {
		t.Errorf("reference is shown as %s", got)
	}
	if in.Strings[4].Open.Hz == moved.Strings[4].Open.Hz {
		t.Error("the built-in itself was changed")
	}
}

func TestInstrumentWithTuning(t *testing.T) {
	guitar := mustInstrument(t, "guitar-12edo")
	meantone, err := guitar.With(mustTuning(t, "quarter-comma-meantone"), nil)
	if err != nil {
		t.Fatal(err)
	}
	// A2 is two octaves under A4=440; C–E is pure, so is the fourth E–A by 503.421572 cents
	// (meantone_intervals.csv).
	near(t, "A2", meantone.Strings[4].Open.Hz, 110, 1e-9)
	near(t, "E2 to A2", 1200*math.Log2(110/meantone.Strings[5].Open.Hz), 503.421572, exactDigits)
	fret, err := meantone.Fretted(5, 5)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the fifth fret stays where it is", 1200*math.Log2(fret.Hz/110), 500, 1e-9)

	_, err = mustInstrument(t, "guitar-41edo-alternate").With(mustTuning(t, "31edo"), nil)
	if err == nil || !strings.Contains(err.Error(), "string 1") || !strings.Contains(err.Error(), "41edo") {
		t.Errorf("strings given by step, in another tuning: %v", err)
	}
	_, err = guitar.With(mustTuning(t, "13ed3"), nil)
	if err == nil || !strings.Contains(err.Error(), "no letters") {
		t.Errorf("strings given by letter, in a tuning without letters: %v", err)
	}
}

func TestParseInstrumentRefuses(t *testing.T) {
	const head = "name = 'x'\ntuning = '12edo'\n"
	const open = head + "[[strings]]\nnote = 'E4'\n"
	for _, c := range []struct{ file, says string }{
		{"", "no name"},
		{"name = 'x'", "no tuning"},
		{head, "0 strings"},
		{"name = 1", `x.toml:1:8: key "name": wants text`},
		{head + "[[strings]]\nnote = 4", `x.toml:4:8: key "note": wants text`},
		{head + "[[strings]]\nstep = 1.5", `key "step": wants a whole number`},
		{open + "gauge_mm = 'thin'", `key "gauge_mm": wants a number`},
		{open + "frets = 3", `key "frets": wants a table`},
		{open + "frets = {steps = 3}", `wants a list`},
		{"nam = 'x'", `x.toml:1:1: unknown key "nam"; an instrument has name, kind,`},
		{open + "gauge = 3", `x.toml:5:1: unknown key "gauge"; a string has note, step, interval, hz,`},
		{open + "frets = {cont = 3}", `x.toml:5:10: unknown key "cont"; frets have count, every, steps, intervals`},
		{head + "[frets]\ncont = 3", `x.toml:4:1: unknown key "cont"; frets have count, every, steps, intervals`},
		{head + "a = [", "x.toml:3:"},
		{"name = 'x'\nname = 'y'", "x.toml:2:1"},
		{open + "scale_length_mm = nan", "scale_length_mm NaN is outside 20 to 5000"},
		{open + "scale_length_mm = inf", "outside 20 to 5000"},
		{open + "gauge_mm = 0", "gauge_mm 0 is outside"},
		{open + "linear_density_kg_m = -1", "linear_density_kg_m -1 is outside"},
		{open + "inharmonicity = 1", "inharmonicity 1 is outside"},
		{head + "[[strings]]\n", "exactly one of note, step, interval"},
		{open + "hz = 3", "string 1: give only one of note, step, interval, hz"},
		{open + "unit_weight_kg_m = 0.001", `x.toml:5:1: unknown key "unit_weight_kg_m"; it is called linear_density_kg_m now`},
		{open + "cents = 1300", "x.toml:5:1: string 1: cents 1300 is not within -1200 to 1200"},
		{open + "cents = nan", "cents NaN is not within"},
		{head + "[[strings]]\nnote = 'E4+2c'\ncents = 1", "x.toml:5:1: string 1: note \"E4+2c\" has cents of its own"},
		{open + "count = 0", "x.toml:5:1: string 1: count 0 is not within 1 to 4"},
		{open + "count = 2\n[[strings]]\nnote = 'E'", `x.toml:7:1: string 3: "E" is no note`},
		{head + "[[strings]]\nhz = nan", "string 1: pitch: NaN Hz is outside 8 to 13000 Hz"},
		{head + "[[strings]]\nhz = 7", "string 1: pitch: 7 Hz"},
		{head + "[[strings]]\nstep = 500", "outside 8 to 13000 Hz"},
		{head + "[[strings]]\nstep = 9000000000000000000", "out of range"},
		{head + "[[strings]]\nnote = 'E'", `string 1: "E" is no note`},
		{head + "[[strings]]\ninterval = '3/0'", "no side 0"},
		{open + "frets = {}", "write count"},
		{open + "frets = {count = 501}", "count from 0 to 500"},
		{open + "frets = {count = 5, every = 0}", "every 0"},
		{open + "frets = {count = 500, every = 10000}", "more than 5 octaves"},
		{open + "frets = {steps = [2, 2]}", "step 2 of fret 2"},
		{open + "frets = {steps = [0]}", "step 0 of fret 1"},
		{open + "frets = {steps = [1], count = 2}", "either count"},
		{open + "frets = {intervals = [9]}", "wants text in quotes"},
		{open + "frets = {intervals = 9}", "a list of intervals"},
		{open + "frets = {intervals = ['9/8'], count = 2}", "either intervals"},
		{open + "frets = {intervals = ['5/4', '9/8']}", `"9/8" of fret 2`},
		{open + "frets = {intervals = ['1/1']}", `"1/1" of fret 1`},
		{open + "frets = {intervals = ['33/1']}", "within 5 octaves"},
		{open + "frets = {intervals = ['x']}", `"x" is no interval`},
		{"perpendicular_fret = 1\n" + open, "perpendicular_fret 1 is not within 0 to 0"},
		{"nut_spread_mm = 0\n" + open, "nut_spread_mm 0 is outside 1 to 1000"},
		{"saddle_spread_mm = nan\n" + open, "saddle_spread_mm NaN is outside 1 to 1000"},
		{strings.Replace(open, "12edo", "12edx", 1), `tuning "12edx"`},
		{"reference = 'A4'\n" + open, "A4=440"},
		{"kind = \"a\\u001b[2J\"\n" + open, "cannot be shown"},
		{head + strings.Repeat("[[strings]]\nnote = 'E4'\n", 65), "65 strings"},
		{strings.Repeat("[", 100000), "x.toml:"},
		{strings.Repeat("#", strict.MaxBytes+1), "at most"},
	} {
		_, err := ParseInstrument("x.toml", []byte(c.file))
		if err == nil || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), "x.toml") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.80q\n\terror %v\n\twant  %s", c.file, err, c.says)
		}
	}
}

func TestLoadInstrumentRefuses(t *testing.T) {
	dir := t.TempDir()
	for path, says := range map[string]string{
		filepath.Join(dir, "none.toml"): "no such file",
		"none.toml":                     "no such file",
		dir:                             "not a file",
	} {
		if _, err := LoadInstrument(path); err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// Any bytes give an instrument or one error line. An instrument keeps its laws.
func FuzzInstrument(f *testing.F) {
	names, err := filepath.Glob("instruments/*.toml")
	if err != nil || len(names) == 0 {
		f.Fatal("no instruments", err)
	}
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(workshopFile))
	f.Add([]byte("name='x'\ntuning='harmonics 1..999999999'\n[[strings]]\nhz=nan"))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := ParseInstrument("x.toml", data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("error is not one line: %q", err)
			}
			return
		}
		for n, s := range in.Strings {
			for fret := range len(s.Frets) + 1 {
				target, err := in.Fretted(n+1, fret)
				if err != nil || !(target.Hz >= MinNoteHz && target.Hz < 40*MaxNoteHz) {
					t.Errorf("string %d fret %d: %+v, %v", n+1, fret, target, err)
				}
			}
		}
		if _, err := NewResolver(ResolverConfig{Instrument: in, Frets: true}); err != nil {
			t.Error(err)
		}
	})
}

// Frets of a list of ratios differ from string to string and need not be notes of the tuning.
func TestFretsOfRatios(t *testing.T) {
	in, err := ParseInstrument("x.toml", []byte(`name = "x"
tuning = "12edo"
scale_length_mm = 600
perpendicular_fret = 2
nut_spread_mm = 36
saddle_spread_mm = 52.5
[[strings]]
note = "A2"
frets = { intervals = ["9/8", "5/4", "3/2", "2/1"] }
[[strings]]
note = "E2"
frets = { intervals = ["7/6", "4/3"] }
`))
	if err != nil {
		t.Fatal(err)
	}
	if in.PerpendicularFret != 2 || in.NutSpreadMM != 36 || in.SaddleSpreadMM != 52.5 {
		t.Errorf("shape %d, %g, %g", in.PerpendicularFret, in.NutSpreadMM, in.SaddleSpreadMM)
	}
	near(t, "5/4 in cents", in.Strings[0].Frets[1].Cents, 386.313714, 1e-6) // published interval tables
	if step := in.Strings[0].Frets[1].Step; step != 4 {
		t.Errorf("5/4 is nearest to %d semitones", step)
	}
	pressed, err := in.Fretted(2, 2)
	if err != nil || pressed.Label != "A2" {
		t.Errorf("4/3 above E2 is %+v, %v", pressed, err)
	}
	near(t, "4/3 above E2", pressed.Hz, in.Strings[1].Open.Hz*4/3, 1e-9)
}

// cents moves what note, step, interval or hz says. 13.686286 is the just major third against the equal
// one, 400 - 1200·log2(5/4).
func TestStringCents(t *testing.T) {
	const head = "name = 'x'\ntuning = '12edo'\n"
	third := 440 * math.Exp2(-13.686286/1200)
	for _, open := range []string{"note = 'A4'", "step = 0", "interval = '1/1'", "hz = 440"} {
		in, err := ParseInstrument("x.toml", []byte(head+"[[strings]]\n"+open+"\ncents = -13.686286\n"))
		if err != nil {
			t.Fatal(err)
		}
		s := in.Strings[0]
		near(t, open, s.Open.Hz, third, 1e-9)
		if s.Open.Label != "A4 -13.686286c" || s.Open.Step != 0 || !s.OpenBetween() {
			t.Errorf("%s: %+v", open, s.Open)
		}
	}
}

// A mandolin has eight strings in four courses of two, G D A E in fifths (common practice, no source).
func TestCourses(t *testing.T) {
	in, err := ParseInstrument("mandolin.toml", []byte("name = 'Mandolin'\ntuning = '12edo'\n"+
		"[[strings]]\nnote = 'E5'\ncount = 2\n[[strings]]\nnote = 'A4'\ncount = 2\n"+
		"[[strings]]\nnote = 'D4'\ncount = 2\n[[strings]]\nnote = 'G3'\ncount = 2\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		in   *Instrument
		want string
	}{{in, "E5 E5 A4 A4 D4 D4 G3 G3"}, {in.ByCourse(), "E5 A4 D4 G3"}} {
		var labels []string
		for i, s := range c.in.Targets() {
			labels = append(labels, s.Label)
			if s.String != i+1 {
				t.Errorf("string %d is %+v", i+1, s)
			}
		}
		if got := strings.Join(labels, " "); got != c.want || c.in.Courses() != 4 {
			t.Errorf("%s in %d courses, want %s in 4", got, c.in.Courses(), c.want)
		}
	}
	if third, err := in.With(nil, &Reference{Label: "A4", Hz: 442}); err != nil || third.Courses() != 4 {
		t.Errorf("at A4=442: %v", err)
	}
	guitar := mustInstrument(t, "guitar-12edo")
	if guitar.Courses() != 6 || len(guitar.ByCourse().Strings) != 6 {
		t.Error("the strings of a guitar are no courses")
	}
}

// A string 13.69 cents down (the just third against the equal one, 400 − 1200·log2(5/4)) sounds
// five fourths of the string below; its fretted notes go with it, other strings stay, and a new
// reference moves all alike.
func TestDetuned(t *testing.T) {
	in, err := LoadInstrument("guitar-12edo")
	if err != nil {
		t.Fatal(err)
	}
	third := 1200*math.Log2(5.0/4) - 400
	moved, err := in.Detuned([]float64{0, third, 0, 0, 0, 0})
	if err != nil {
		t.Fatal(err)
	}
	open := moved.Targets()
	if got := open[1].Hz / open[2].Hz; math.Abs(got-1.25) > 1e-12 || open[1].Label != "B3" {
		t.Errorf("string 2 over string 3 is %v, %+v", got, open[1])
	}
	octave, err := moved.Fretted(2, 12)
	if err != nil || math.Abs(octave.Hz/open[1].Hz-2) > 1e-12 || octave.Label != "B4" {
		t.Errorf("fret 12: %+v, %v", octave, err)
	}
	if in.Strings[1].Open.Hz == open[1].Hz || in.Strings[0].Open != moved.Strings[0].Open {
		t.Error("the instrument itself has changed, or another string")
	}
	ref := Reference{Label: "A4", Hz: 432}
	low, err := moved.With(nil, &ref)
	if err != nil || math.Abs(low.Strings[1].Open.Hz/low.Strings[2].Open.Hz-1.25) > 1e-12 {
		t.Errorf("at A4=432: %v, %v", low.Targets(), err)
	}
	for _, bad := range [][]float64{nil, {1, 2}, {0, math.NaN(), 0, 0, 0, 0}, {0, 0, 0, 0, 0, 1300}} {
		if _, err := in.Detuned(bad); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
}
