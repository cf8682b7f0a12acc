package beats

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/testkit"
)

// The difference tones of two notes: testdata/combination_tones.csv, whose rows name their sources
// (Helmholtz ch. VII, "Combination tone" in Wikipedia).
func TestPublishedDifferenceTones(t *testing.T) {
	for _, row := range testkit.Table(t, "testdata/combination_tones.csv") {
		f1, f2 := testkit.Number(t, row["f1"]), testkit.Number(t, row["f2"])
		scale := 1.0
		if strings.Contains(row["source"], "ratio numbers") {
			scale = 100
		}
		tones := []Tone{{Hz: f1 * scale}, {Hz: f2 * scale}}
		series, err := SeriesOf(tones)
		if err != nil {
			t.Fatal(err)
		}
		found := map[int]float64{} // by order, of the form f2 − f1 and 2·f1 − f2
		for _, c := range Combinations(tones, series, CombinationLimits{}) {
			if last := c.Terms[len(c.Terms)-1]; last.Tone == 0 && c.Order == 2 || last.Tone == 1 && c.Order == 3 {
				found[c.Order] = c.Hz / scale
			}
			if math.Abs(c.OffHz) > 1e-9 {
				t.Errorf("%s:%s: %+v is off the pure chord's series", row["f1"], row["f2"], c)
			}
		}
		for order, column := range map[int]string{2: "difference_f2-f1", 3: "cubic_2f1-f2"} {
			if want := testkit.Number(t, row[column]); math.Abs(found[order]-want) > 1e-9 {
				t.Errorf("%s:%s: %s %g, want %g", row["f1"], row["f2"], column, found[order], want)
			}
		}
	}
}

// A pure chord of whole numbers has all its difference tones in its own series, stiff strings
// excepted; that is why players of drive tune thirds pure (common practice, no source).
func TestPureChordFits(t *testing.T) {
	tones := []Tone{{Hz: 440}, {Hz: 550}, {Hz: 660}, {Hz: 770}}
	series, err := NewSeries(tones, []int{4, 5, 6, 7})
	if err != nil {
		t.Fatal(err)
	}
	found := Combinations(tones, series, CombinationLimits{Partials: 3})
	if len(found) < 200 {
		t.Errorf("only %d tones", len(found))
	}
	for _, c := range found {
		if math.Abs(c.OffHz) > 1e-9 {
			t.Fatalf("%+v is off by %g Hz", c, c.OffHz)
		}
	}
}

// The third of 12 equal steps over A3 gives the difference tone 277.183 − 220 = 57.18 Hz instead
// of the 55 Hz of the pure one: 67 cents sharp, by Helmholtz's f2 − f1.
func TestTemperedThirdClashes(t *testing.T) {
	tones := []Tone{{Hz: 220}, {Hz: 220 * math.Exp2(4.0/12)}}
	series, err := NewSeries(tones, []int{4, 5})
	if err != nil {
		t.Fatal(err)
	}
	c := Combinations(tones, series, CombinationLimits{})[0]
	if c.Order != 2 || math.Abs(c.Hz-57.1826) > 1e-4 || c.Harmonic != 1 {
		t.Fatalf("strongest is %+v", c)
	}
	// The root that errs least lies half of 13.686 cents above 55 Hz.
	if want := 1200*math.Log2(57.1826/55) - 13.686/2; math.Abs(c.OffCents-want) > 0.01 {
		t.Errorf("off by %.3f cents, want %.3f", c.OffCents, want)
	}
}

// The numbers that are wanted are those in which the trade names these chords (common practice, no
// source).
func TestSeriesOf(t *testing.T) {
	for _, tc := range []struct {
		semitones []float64
		want      []int
	}{
		{[]float64{0, 4, 7}, []int{4, 5, 6}},
		{[]float64{0, 3, 7}, []int{10, 12, 15}},
		{[]float64{0, 4, 7, 10}, []int{4, 5, 6, 7}},
		{[]float64{0, 7}, []int{2, 3}},
		{[]float64{12, 0, 7}, []int{4, 2, 3}},
		{[]float64{0}, []int{1}},
	} {
		tones := make([]Tone, len(tc.semitones))
		for i, s := range tc.semitones {
			tones[i].Hz = 110 * math.Exp2(s/12)
		}
		s, err := SeriesOf(tones)
		if err != nil {
			t.Fatal(err)
		}
		for i := range tc.want {
			if s.Numbers[i] != tc.want[i] {
				t.Errorf("%v: %v, want %v", tc.semitones, s.Numbers, tc.want)
				break
			}
		}
	}
}

func TestSeriesErrors(t *testing.T) {
	if _, err := SeriesOf(nil); err == nil {
		t.Error("no notes were accepted")
	}
	if _, err := NewSeries([]Tone{{Hz: 100}}, []int{4, 5}); err == nil {
		t.Error("two parts for one note were accepted")
	}
	if _, err := NewSeries([]Tone{{Hz: 100}}, []int{0}); err == nil {
		t.Error("harmonic 0 was accepted")
	}
}

// A chord called pure has no beats in what is heard: the partials that coincide meet, stiff strings
// or not, in every pair that the placing joins; the first note keeps its pitch.
func TestPureOfStiffStringsHasNoBeats(t *testing.T) {
	tones := []Tone{{Hz: 110, B: 4e-4}, {Hz: 139, B: 1e-4}, {Hz: 165, B: 2e-4}}
	s, err := NewSeries(tones, []int{4, 5, 6})
	if err != nil {
		t.Fatal(err)
	}
	pure := s.Pure(tones, 0)
	stiff := func(i, k int) float64 { // k·f1·√((1+B·k²)/(1+B)), Fletcher 1964
		b := tones[i].B
		return float64(k) * pure[i].Hz * math.Sqrt((1+b*float64(k*k))/(1+b))
	}
	if pure[0] != tones[0] {
		t.Errorf("the first note moved: %+v", pure[0])
	}
	if rate := stiff(0, 3) - stiff(2, 2); math.Abs(rate) > 1e-9 {
		t.Errorf("4:6 beats %g times a second", rate)
	}
	if rate := stiff(0, 5) - stiff(1, 4); math.Abs(rate) > 1e-9 {
		t.Errorf("4:5 beats %g times a second", rate)
	}
	left := math.Abs(stiff(1, 6) - stiff(2, 5))
	if i, j, hz := s.Left(pure); i != 1 || j != 2 || math.Abs(hz-left) > 1e-9 || left < 0.1 {
		t.Errorf("left: notes %d and %d, %g a second; want 1 and 2, %g", i, j, hz, left)
	}
}
