package fretboard

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/targets"
	"tunerd/internal/testkit"
)

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

func parse(t *testing.T, file string) *targets.Instrument {
	t.Helper()
	in, err := targets.ParseInstrument("x.toml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func lay(t *testing.T, in *targets.Instrument) *Board {
	t.Helper()
	b, err := New(in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func builtin(t *testing.T, name string) *Board {
	t.Helper()
	in, err := targets.LoadInstrument(name)
	if err != nil {
		t.Fatal(err)
	}
	return lay(t, in)
}

func ratio(t *testing.T, text string) targets.Interval {
	t.Helper()
	iv, err := targets.ParseInterval(text)
	if err != nil {
		t.Fatal(err)
	}
	return iv
}

// Table of the formula of Byers; see testdata.
func TestFretPositionsAgainstTable(t *testing.T) {
	boards := map[string]*Board{}
	for _, r := range testkit.Table(t, "testdata/fret_positions.csv") {
		scale := r["scale_mm"]
		b := boards[scale]
		if b == nil {
			b = lay(t, parse(t, "name='x'\ntuning='12edo'\nscale_length_mm="+scale+"\nfrets={count=24}\n[[strings]]\nnote='A2'\n"))
			boards[scale] = b
		}
		fret, _ := strconv.Atoi(r["fret"])
		if fret == 0 {
			continue
		}
		f := b.Strings[0].Frets[fret-1]
		near(t, scale+" fret "+r["fret"], f.NutMM, number(t, r["nut_to_fret_mm"]), 0.00006) // 4 decimals printed
		near(t, scale+" rest "+r["fret"], b.Strings[0].ScaleMM-f.NutMM, number(t, r["fret_to_saddle_mm"]), 0.00006)
	}
	if len(boards) < 3 {
		t.Errorf("%d scale lengths", len(boards))
	}
}

// The workshop rule: each fret lies 1/17.817 of what is left to the saddle farther on (Byers; the
// figure has three decimals). The octave is at half the scale: common practice, no source.
func TestWorkshopRules(t *testing.T) {
	s := builtin(t, "guitar-12edo").Strings[5]
	left := s.ScaleMM
	for _, f := range s.Frets {
		near(t, "17.817", left/f.PreviousMM, 17.817, 0.0005)
		left -= f.PreviousMM
	}
	near(t, "octave", s.Frets[11].NutMM, s.ScaleMM/2, 1e-9)
}

// A slot in the wrong place, played: the length that sounds gives the pitch.
func TestSlotError(t *testing.T) {
	for _, f := range builtin(t, "guitar-12edo").Strings[0].Frets {
		rest := 648 - f.NutMM
		near(t, "0.1 mm", f.SlotCents, 1200*math.Log2(rest/(rest-0.1)), 1e-9)
		near(t, "a cent", 1200*math.Log2(rest/(rest-f.CentMM)), 1, 1e-9)
	}
}

const fan = `name = "Fan"
tuning = "12edo"
perpendicular_fret = 7
nut_spread_mm = 40
saddle_spread_mm = 60
frets = { count = 24 }
[[strings]]
note = "D3"
scale_length_mm = 648
[[strings]]
note = "A2"
scale_length_mm = 667
[[strings]]
note = "E2"
scale_length_mm = 686
`

func TestFan(t *testing.T) {
	b := lay(t, parse(t, fan))
	for _, s := range b.Strings {
		near(t, "perpendicular fret", s.Frets[6].AlongMM, b.Strings[0].Frets[6].AlongMM, 1e-9)
		near(t, "octave at half its own scale", s.Frets[11].NutMM, s.ScaleMM/2, 1e-9)
	}
	near(t, "the longest nut is farthest out", b.Strings[2].NutAlongMM, 0, 0)
	near(t, "nut of the shortest", b.Strings[0].NutAlongMM, (686-648)*(1-math.Exp2(-7.0/12)), 1e-9)
	near(t, "last saddle", b.LastMM, 686, 1e-9)
	fret := 0
	b2, err := New(b.in, Options{Perpendicular: &fret})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "square nut", b2.Strings[0].NutAlongMM, 0, 0)
	fret = 25
	if _, err = New(b.in, Options{Perpendicular: &fret}); err == nil || !strings.Contains(err.Error(), "0 (the nut) to 24") {
		t.Errorf("perpendicular fret 25: %v", err)
	}
}

// Evenly spaced strings whose scale lengths rise evenly have straight slots: points that divide
// straight lines between two straight lines in one ratio are in line.
func TestFanSlotsAreStraight(t *testing.T) {
	b := lay(t, parse(t, fan))
	lines := b.Lines()
	if len(lines) != 25 {
		t.Fatalf("%d slots, want the nut and 24", len(lines))
	}
	for _, l := range lines {
		if len(l.Points) != 5 {
			t.Fatalf("slot %d has %d points, want 3 strings and 2 ends", l.Fret, len(l.Points))
		}
		first, last := l.Points[0], l.Points[4]
		slope := (last.Along - first.Along) / (last.Across - first.Across)
		for _, p := range l.Points {
			near(t, "in line", p.Along, first.Along+slope*(p.Across-first.Across), 1e-6)
		}
	}
	if s := lines[7]; s.Points[0].Along-s.Points[4].Along > 1e-6 {
		t.Errorf("fret 7 is not square: %v", s.Points)
	}
}

func TestPartialFretsHaveTheirOwnSlots(t *testing.T) {
	b := lay(t, parse(t, `name = "Partial"
tuning = "1/1 9/8 5/4 4/3 3/2 5/3 15/8"
scale_length_mm = 600
[[strings]]
step = 0
frets = { intervals = ["9/8", "5/4", "3/2"] }
[[strings]]
step = -3
frets = { intervals = ["9/8", "6/5"] }
[[strings]]
step = -7
frets = { count = 0 }
`))
	var frets []int
	for _, l := range b.Lines() {
		frets = append(frets, l.Fret, len(l.Points)-2)
	}
	// Nut of the fretted two and of the third; 9/8 shared; 5/4 and 6/5 apart; 3/2.
	want := []int{0, 2, 0, 1, 1, 2, 2, 1, 2, 1, 3, 1}
	for i := range max(len(want), len(frets)) {
		if i >= len(want) || i >= len(frets) || want[i] != frets[i] {
			t.Fatalf("slots and strings %v, want %v", frets, want)
		}
	}
	near(t, "3/2 at a third", b.Strings[0].Frets[2].NutMM, 200, 1e-9) // two thirds of the string sound a fifth
	near(t, "5/4 at a fifth", b.Strings[0].Frets[1].NutMM, 120, 1e-9)
}

func TestNewNeedsScaleLengths(t *testing.T) {
	in := parse(t, "name='x'\ntuning='12edo'\n[[strings]]\nnote='A2'\n")
	if _, err := New(in, Options{}); err == nil || !strings.Contains(err.Error(), "string 1 of x has no scale length") {
		t.Error(err)
	}
}

// Nodes are exact fractions of the string; where they lie in frets is from the table.
func TestHarmonicNodesAgainstTable(t *testing.T) {
	b := lay(t, parse(t, "name='x'\ntuning='12edo'\nreference='A4=440'\nscale_length_mm=650\nfrets={count=36}\n[[strings]]\nnote='A2'\n"))
	all, err := b.Harmonics(1, MaxHarmonic)
	if err != nil {
		t.Fatal(err)
	}
	rows := testkit.Table(t, "testdata/harmonic_nodes.csv")
	for _, r := range rows {
		h, k := number(t, r["harmonic"]), number(t, r["node"])
		if h > MaxHarmonic {
			continue
		}
		found := false
		for _, a := range all {
			if float64(a.Number) != h || float64(a.Node) != k {
				continue
			}
			found = true
			near(t, "mm", a.TouchMM, number(t, r["mm_from_nut_650"]), 0.0006)
			equivalent := number(t, r["fret_equivalent_12equal"])
			if equivalent < 36 && math.Abs(float64(a.Fret)-equivalent) > 0.52 { // nearest in mm, not in frets
				t.Errorf("harmonic %g node %g: fret %d, table %g", h, k, a.Fret, equivalent)
			}
		}
		if !found {
			t.Errorf("harmonic %g has no node %g", h, k)
		}
	}
	if _, err := b.Harmonics(1, 17); err == nil {
		t.Error("harmonic 17 is not refused")
	}
}

// Published deviations of harmonics from twelve equal steps, and the frets at which guitarists
// touch the third (Fillmore 2008) and the second (common practice, no source).
func TestHarmonicsAgainstTable(t *testing.T) {
	b := builtin(t, "guitar-12edo")
	all, err := b.Harmonics(6, MaxHarmonic)
	if err != nil {
		t.Fatal(err)
	}
	off := map[string]float64{}
	touched := map[int][]int{}
	for _, a := range all {
		off[strconv.Itoa(a.Number)] = a.OffCents
		touched[a.Number] = append(touched[a.Number], a.Fret)
	}
	for _, r := range testkit.Table(t, "testdata/harmonics.csv") {
		if got, ok := off[r["harmonic"]]; ok {
			near(t, "harmonic "+r["harmonic"], got, number(t, r["deviation_12equal_published"]), 0.051)
		}
	}
	if f := touched[3]; len(f) != 2 || f[0] != 7 || f[1] != 19 {
		t.Errorf("third harmonic at %v, want VII and XIX", f)
	}
	if f := touched[2]; len(f) != 1 || f[0] != 12 {
		t.Errorf("second harmonic at %v, want 12", f)
	}
}
