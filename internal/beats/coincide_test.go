package beats

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/testkit"
)

// equalHz is a note of 12 equal steps at A4 = 440 Hz.
func equalHz(t *testing.T, name string) float64 {
	t.Helper()
	semitone := strings.Index("C D EF G A B", name[:1]) + strings.Count(name, "#")
	octave := testkit.Number(t, name[len(name)-1:])
	return 440 * math.Exp2(octave-4+float64(semitone-9)/12)
}

// The intervals of the temperament octave as published for piano tuners: testdata/beat_rates.csv,
// whose rows name their sources (Teki et al. 2012, J. Neurosci. 32(35), Table 1, after Capleton
// 2007; the whole figures are targets rounded for counting). The plainest coincidence found must be
// theirs, at their rate to its last figure and on their side.
func TestPublishedBeatRates(t *testing.T) {
	rows := testkit.Table(t, "testdata/beat_rates.csv")
	if len(rows) < 55 {
		t.Fatalf("only %d rows", len(rows))
	}
	for _, row := range rows {
		low, high := row["lower"], row["upper"]
		found := Coincidences(Tone{Hz: equalHz(t, low)}, Tone{Hz: equalHz(t, high)}, DefaultPartials, DefaultWithin)
		if len(found) == 0 {
			t.Errorf("%s-%s: no coincidence", low, high)
			continue
		}
		c := found[0]
		if n, m := int(testkit.Number(t, row["partial_of_lower"])), int(testkit.Number(t, row["partial_of_upper"])); c.N != n || c.M != m {
			t.Errorf("%s-%s: partials %d and %d, published %d and %d", low, high, c.N, c.M, n, m)
		}
		published, half := testkit.Number(t, row["beats_per_s_published"]), 0.05
		if row["agrees"] == "rounded target" {
			half = 0.5
		}
		if rate := math.Abs(c.BeatHz()); math.Abs(rate-published) > half+1e-9 {
			t.Errorf("%s-%s: %.3f beats a second, published %g", low, high, rate, published)
		}
		if wide := c.BeatHz() > 0; wide != (row["direction_vs_just"] == "wide") {
			t.Errorf("%s-%s: %.3f, published %s", low, high, c.BeatHz(), row["direction_vs_just"])
		}
	}
}

// The same table as a tuner reads it: notes down, intervals across.
func TestTable(t *testing.T) {
	nearest := func(hz float64) Tone {
		key := math.Round(12 * math.Log2(hz/440))
		return Tone{Hz: 440 * math.Exp2(key/12)}
	}
	intervals := map[string][2]int{"m3": {6, 5}, "M3": {5, 4}, "P4": {4, 3}, "P5": {3, 2}, "m6": {8, 5}, "M6": {5, 3}}
	for _, row := range testkit.Table(t, "testdata/beat_rates.csv") {
		table := Table([]Tone{{Hz: equalHz(t, row["lower"])}}, [][2]int{intervals[row["interval"]]}, nearest)
		got, want := math.Abs(table[0].Cells[0].BeatHz()), testkit.Number(t, row["beats_per_s_exact"])
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("%s %s: %.7f, want %.7f", row["lower"], row["interval"], got, want)
		}
	}
}

// Facts of the trade, common practice, no source: the open B under a G chord must come down 13.7
// cents to be 4:5 with G, and the open B string of a guitar in 12 equal steps is then beatless.
// In 31 equal steps 7/4 is 1.1 cents narrow.
func TestTurningStopsTheBeats(t *testing.T) {
	g, b := Tone{Hz: 440 * math.Exp2(-14.0/12)}, Tone{Hz: 440 * math.Exp2(-10.0/12)}
	c := Coincidences(g, b, DefaultPartials, DefaultWithin)[0]
	if c.N != 5 || c.M != 4 || math.Abs(c.Cents()-13.686) > 0.001 {
		t.Errorf("G3-B3: %d/%d wide by %.4f cents, want 5/4 by 13.686", c.N, c.M, c.Cents())
	}
	b.Hz *= math.Exp2(-c.Cents() / 1200)
	if rate := At(g, b, 5, 4).BeatHz(); math.Abs(rate) > 1e-9 {
		t.Errorf("turned down by %.4f cents it still beats %.3g times a second", c.Cents(), rate)
	}
	seventh := Coincidences(Tone{Hz: 100}, Tone{Hz: 100 * math.Exp2(25.0/31)}, DefaultPartials, DefaultWithin)[0]
	if seventh.N != 7 || seventh.M != 4 || math.Abs(seventh.Cents()+1.084) > 0.001 {
		t.Errorf("25 steps of 31: %d/%d, %+.4f cents; want 7/4, -1.084", seventh.N, seventh.M, seventh.Cents())
	}
}

// Stiff strings: an octave of two strings with B = 4e-4, a small piano's (order of magnitude: R. W.
// Young, J. Acoust. Soc. Am. 24, 1952), whose fundamentals stand in 2/1, is narrow at its 2:1
// partials and narrower still at 4:2, so tuners stretch it. By Fletcher's law at n = 2:
// √((1+4B)/(1+B)) = √1.0011995, or 0.0011988/2·1200/ln 2 = 1.0377 cents.
func TestStiffOctave(t *testing.T) {
	const b = 4e-4
	low, high := Tone{Hz: 100, B: b}, Tone{Hz: 200, B: b}
	if c := At(low, high, 2, 1); math.Abs(c.Cents()+1.0377) > 2e-4 {
		t.Errorf("2:1 %+.4f cents, want -1.0377", c.Cents())
	}
	if two, four := At(low, high, 2, 1).Cents(), At(low, high, 4, 2).Cents(); four >= two {
		t.Errorf("4:2 %+.3f cents is not narrower than 2:1 %+.3f", four, two)
	}
}

func TestPairsPutTheLowerNoteFirst(t *testing.T) {
	pairs := Pairs([]Tone{{Hz: 300}, {Hz: 200}, {Hz: 250}}, 8, 50)
	if len(pairs) != 3 {
		t.Fatalf("%d pairs of 3 notes", len(pairs))
	}
	for _, p := range pairs {
		if p.Lower.Hz >= p.Upper.Hz || len(p.Found) == 0 || p.Found[0].BeatHz() != 0 {
			t.Errorf("pair %d, %d: %+v", p.I, p.J, p)
		}
	}
}
