package detune

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"testing"

	"tunerd/internal/targets"
)

// Values of testdata: two unit sines, 440 Hz and so many cents above.
func TestRoughnessAgainstTable(t *testing.T) {
	f, err := os.Open("testdata/roughness.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	above := regexp.MustCompile(`^roughness of two unit sines, 440 Hz and (\d+) cents above$`)
	greatest := regexp.MustCompile(`^difference of greatest roughness at (\d+) Hz$`)
	checked := 0
	for _, row := range rows[1:] {
		want, _ := strconv.ParseFloat(row[1], 64) // constants have other rows
		if m := above.FindStringSubmatch(row[0]); m != nil {
			cents, _ := strconv.ParseFloat(m[1], 64)
			near(t, row[0], roughness(440, 440*math.Exp2(cents/1200), 1), want, 1e-6)
			checked++
		}
		if m := greatest.FindStringSubmatch(row[0]); m != nil {
			low, _ := strconv.ParseFloat(m[1], 64)
			near(t, row[0], roughness(low, low+want, 1), 0.898782, 1e-6)
			near(t, "cost beyond", beatCost(low, low+3*want, 1), 0.898782, 1e-6)
			checked++
		}
	}
	near(t, "peak", roughPeak, 0.220350, 1e-6)
	if checked != 11 {
		t.Errorf("%d rows were checked", checked)
	}
}

// A sine is one of two partials that coincide: amplitude, and Hz at no move of its string.
type sine struct {
	str    int
	hz     float64
	weight float64
}

// coincident lists the pairs of harmonic partials up to 16 that should coincide.
func coincident(in *targets.Instrument, chords []Chord) (pairs [][2]sine) {
	for _, c := range chords {
		for i, a := range c.Notes {
			for _, b := range c.Notes[i+1:] {
				r, _ := b.Wanted.Sub(a.Wanted).Rat()
				n, m := float64(r.Num().Int64()), float64(r.Denom().Int64())
				for q := 1.0; q*n <= 16 && q*m <= 16; q++ {
					pairs = append(pairs, [2]sine{
						{a.String - 1, q * n * noteHz(in, a), c.Weight * math.Min(1/(q*n), 1/(q*m))}, {b.String - 1, q * m * noteHz(in, b), 0}})
				}
			}
		}
	}
	return pairs
}

// energy sums the cost of pairs as it is written.
func energy(pairs [][2]sine, cents []float64) float64 {
	var up [6]float64
	for i := range up {
		up[i] = math.Exp2(cents[i] / 1200)
	}
	sum := 0.0
	for _, p := range pairs {
		sum += beatCost(p[0].hz*up[p[0].str], p[1].hz*up[p[1].str], p[0].weight)
	}
	return sum
}

// Two strings that may move, chords that contradict one another: the plan is nowhere beaten on a
// grid of a third of a cent over all that the limits allow.
func TestBeatEnergyAgainstGrid(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	limits := []Limit{{}, {30, 30}, {}, {30, 30}, {}, {}}
	for _, texts := range [][]string{
		{"x x 0 0 0 x as 3:4:5", "x 2 2 0 0 0 as 3:4:24/5:6:8"},
		{"3 2 0 0 0 3 as 4:5:6:8:10:16", "x x 0 2 3 2 as 2:3:4:5", "0 2 2 1 0 0 as 2:3:4:5:6:8 weight 2"},
		{"x x 0 x 0 x as 3:5", "x x 0 x 0 x as 16:27 weight 0.3", "x x x 0 0 x as 4:5 weight 0.7"},
		{"x 0 2 0 2 0 as 4:6:7:10:12", "x x 0 2 1 2 as 4:6:7:10"},
	} {
		chords := chordsOf(t, in, texts...)
		plan := solve(t, Problem{Instrument: in, Chords: chords, Limits: limits, Method: BeatEnergy})
		pairs := coincident(in, chords)
		got := energy(pairs, plan.Cents)
		cents := make([]float64, 6)
		least := math.Inf(1)
		for b := -30.0; b <= 30; b += 1.0 / 3 {
			for d := -30.0; d <= 30; d += 1.0 / 3 {
				cents[1], cents[3] = b, d
				least = min(least, energy(pairs, cents))
			}
		}
		if got > least+1e-9 {
			t.Errorf("%v: energy %g at %v, %g on the grid", texts, got, plan.Cents, least)
		}
	}
}

// Pure by partials: the loudest coincidences that connect all notes meet by Fletcher's law, written
// out here, with B of every string as it is after the move, 1/f1² of what it was, and
// 4^(cents/1200) of the open string's at a fret. By fundamentals the same strings would beat.
func TestPureByPartials(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	measured := make([]Measured, 6)
	for i, b := range []float64{1.4e-5, 4e-5, 1.1e-4, 6e-5, 8e-5, 1.2e-4} {
		measured[i] = Measured{Hz: in.Strings[i].Open.Hz, B: b}
	}
	f := func(plan *Plan, str, fret, k int) float64 {
		open := plan.AfterHz(str)
		m := measured[str-1]
		b := m.B * math.Pow(m.Hz/open, 2) * math.Pow(4, float64(fret)/12)
		f1 := open * math.Exp2(float64(fret)/12)
		f0 := f1 / math.Sqrt(1+b)
		return float64(k) * f0 * math.Sqrt(1+b*float64(k*k))
	}
	chord := chordsOf(t, in, "3 2 0 0 x x as 4:5:6:8")
	for _, method := range []Method{LeastSquares, WorstError} {
		plan := solve(t, Problem{Instrument: in, Chords: chord, Anchor: 6, PureBy: ByPartials, Measured: measured, Method: method})
		// 4:8 and 4:6 are the loudest (1/√2, 1/√6), and of those that connect the third 4:5 (1/√20).
		near(t, "octave", f(plan, 6, 3, 2), f(plan, 3, 0, 1), 1e-6) // moves are rounded to 1e-6 cents
		near(t, "fifth", f(plan, 6, 3, 3), f(plan, 4, 0, 2), 1e-6)
		near(t, "third", f(plan, 6, 3, 5), f(plan, 5, 2, 4), 1e-6)
		pair := pairOf(t, plan.Report(plan.Chords[0]), 6, 5)
		near(t, "reported", pair.BeatAfter, 0, 1e-6)
		if pair.CentsAfter < 0.1 {
			t.Errorf("a third pure by partials is %g cents wide by partials 1: stiffness was not minded", pair.CentsAfter)
		}
		byOnes := solve(t, Problem{Instrument: in, Chords: chord, Anchor: 6, Measured: measured, Method: method})
		if beat := pairOf(t, byOnes.Report(byOnes.Chords[0]), 6, 5).BeatAfter; beat < 0.05 {
			t.Errorf("pure by fundamentals beats at %g Hz only", beat)
		}
	}
	unknown := bare(t)
	if _, err := Solve(Problem{Instrument: unknown, Chords: chordsOf(t, unknown, "3 2 0 0 x x as 4:5:6:8"), PureBy: ByPartials}); err == nil {
		t.Error("B is not known, yet a plan is made by partials")
	}
}

// Explore goes from the plan for the chosen chords alone to that for the rest alone, and nowhere is a
// point better for both sides than another.
func TestExploreIsATradeOff(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	chosen := chordsOf(t, in, "3 2 0 0 0 3 as 4:5:6:8:10:16")
	rest := chordsOf(t, in, "x 3 2 0 1 0 as 4:5:6:8:10", "x x 0 2 3 2 as 2:3:4:5", "0 2 2 0 0 0 as 2:3:4:24/5:6:8")
	points, err := Explore(Problem{Instrument: in, Chords: chosen, Anchor: 6}, rest)
	if err != nil {
		t.Fatal(err)
	}
	if points[0].Spare >= 0 || points[0].Cents[1] != 0 {
		t.Errorf("the first point is not the instrument as it is: %+v", points[0])
	}
	near(t, "chosen alone", points[1].PureRMS, 0, 1e-5)
	for i := 2; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if b.PureRMS < a.PureRMS-1e-4 || b.RestRMS > a.RestRMS+1e-4 {
			t.Errorf("from spare %g to %g: %g to %g pure, %g to %g of the rest", a.Spare, b.Spare, a.PureRMS, b.PureRMS, a.RestRMS, b.RestRMS)
		}
	}
	last := points[len(points)-1]
	alone := solve(t, Problem{Instrument: in, Chords: rest, Anchor: 6})
	for i := range alone.Cents {
		near(t, fmt.Sprintf("rest alone, string %d", i+1), last.Cents[i], alone.Cents[i], 1e-4)
	}
	near(t, "damage", last.DamageRMS, last.RestRMS-points[0].RestRMS, 0)
}
