package targets

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustChords(t testing.TB, text string) []Chord {
	t.Helper()
	chords, err := ParseChords(text)
	if err != nil {
		t.Fatal(err)
	}
	return chords
}

// publishedErrors returns what equal_divisions.csv says of a division's best approximations.
func publishedErrors(t *testing.T) map[int]map[string]row {
	errors := map[int]map[string]row{}
	for _, r := range table(t, "equal_divisions.csv") {
		n := r.integer(t, "divisions")
		if errors[n] == nil {
			errors[n] = map[string]row{}
		}
		if old := errors[n][r["ratio"]]; old["error_published"] == "" { // else the row is derived
			errors[n][r["ratio"]] = r
		}
	}
	return errors
}

// The pairs of 4:5:6:7 in a division are the published approximations of 5/4, 6/5, 7/6, 3/2,
// 7/5 and 7/4 wherever the division maps them consistently.
func TestChordPairsAgainstPublishedErrors(t *testing.T) {
	chord := mustChords(t, "4:5:6:7")[0]
	published := 0
	for n, rows := range publishedErrors(t) {
		fit := FitChord(mustTuning(t, strconv.Itoa(n)+"edo"), chord, ByWorst)
		worst := 0.0
		for _, p := range fit.Pairs {
			r, ok := rows[fmt.Sprintf("%d/%d", p.N, p.M)]
			if !ok {
				continue
			}
			if p.BestSteps != r.integer(t, "steps_best") {
				t.Errorf("%dedo: best %d/%d is %d steps, want %s", n, p.N, p.M, p.BestSteps, r["steps_best"])
			}
			if !fit.Consistent {
				continue
			}
			what := fmt.Sprintf("%dedo %d/%d", n, p.N, p.M)
			checkPublished(t, what, r, p.Cents, "error_exact", "error_published")
			worst = max(worst, math.Abs(r.number(t, "error_exact")))
			if r["error_published"] != "" {
				published++
			}
		}
		if fit.Consistent {
			near(t, fmt.Sprintf("%dedo worst", n), fit.WorstCents, worst, exactDigits)
		}
	}
	if published < 10 {
		t.Errorf("only %d pairs had a published figure", published)
	}
}

// The order of the divisions for 4:5:6:7 is that of the largest errors in the table.
func TestRankingAgainstPublishedErrors(t *testing.T) {
	type entry struct {
		n     int
		worst float64
	}
	var want []entry
	for n, rows := range publishedErrors(t) {
		e := entry{n: n}
		for _, ratio := range []string{"5/4", "6/5", "7/6", "3/2", "7/5", "7/4"} {
			e.worst = max(e.worst, math.Abs(rows[ratio].number(t, "error_exact")))
		}
		want = append(want, e)
	}
	slices.SortFunc(want, func(a, b entry) int {
		if a.worst < b.worst {
			return -1
		}
		return 1
	})
	ranks, err := RankDivisions(5, 99, octave, mustChords(t, "4:5:6:7"), ByWorst)
	if err != nil {
		t.Fatal(err)
	}
	place := map[int]int{}
	for i, r := range ranks {
		place[r.Division] = i
	}
	last := -1
	for _, e := range want {
		r := ranks[place[e.n]]
		if !r.Consistent {
			continue // the table rounds each interval by itself
		}
		near(t, fmt.Sprintf("%dedo", e.n), r.WorstCents, e.worst, exactDigits)
		if place[e.n] < last {
			t.Errorf("%dedo is number %d, before a division with a smaller published error", e.n, place[e.n]+1)
		}
		last = place[e.n]
	}
	if !(place[72] < place[31] && place[31] < place[53] && place[53] < place[41] && place[41] < place[46] && place[46] < place[22] && place[22] < place[12]) {
		t.Errorf("places %v", place)
	}
}

// bruteForce tries every choice of notes within two places of the pure one.
func bruteForce(t *Tuning, c Chord, root int) (worst, weighted float64) {
	worst, weighted = math.Inf(1), math.Inf(1)
	at := t.stepCents(root)
	steps := make([]int, len(c.parts))
	var try func(i int)
	try = func(i int) {
		if i == len(steps) {
			w, rms := errorsOf(t, c, root, steps)
			worst, weighted = min(worst, w), min(weighted, rms)
			return
		}
		nearest := t.nearestCents(at+c.cents[i]) - root
		for d := -2; d <= 2; d++ {
			steps[i] = nearest + d
			try(i + 1)
		}
	}
	try(1)
	return worst, weighted
}

// errorsOf measures a choice of notes from the ratios alone.
func errorsOf(t *Tuning, c Chord, root int, steps []int) (worst, weighted float64) {
	squares, weights := 0.0, 0.0
	for i := range steps {
		for j := range i {
			pure := 1200 * math.Log2(float64(c.parts[i])/float64(c.parts[j]))
			off := 1200*math.Log2(t.Note(root+steps[i]).Hz/t.Note(root+steps[j]).Hz) - pure
			g := float64(gcd(c.parts[i], c.parts[j]))
			w := g / math.Sqrt(float64(c.parts[i])*float64(c.parts[j]))
			worst = max(worst, math.Abs(off))
			squares, weights = squares+w*off*off, weights+w
		}
	}
	return worst, math.Sqrt(squares / weights)
}

func someChord() *rapid.Generator[Chord] {
	return rapid.Custom(func(t *rapid.T) Chord {
		parts := rapid.SliceOfNDistinct(rapid.IntRange(1, 40), 2, 4, rapid.ID[int]).Draw(t, "parts")
		texts := make([]string, len(parts))
		for i, p := range parts {
			texts[i] = strconv.Itoa(p)
		}
		chords, err := ParseChords(strings.Join(texts, ":"))
		if err != nil {
			t.Fatal(err)
		}
		return chords[0]
	})
}

// No choice of notes is better than the one found.
func TestFitAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := fmt.Sprintf("%dedo", rapid.IntRange(1, 60).Draw(t, "n"))
		if rapid.Bool().Draw(t, "listed") {
			spec = rapid.SampledFrom([]string{"vallotti", "harmonics 8..16", "1/1 9/8 5/4 4/3 3/2 5/3 15/8", "1/1 81/80 5/4 100/81 3/2 2000c repeat 3/1", "products 2 of 1 3 5 7"}).Draw(t, "spec")
		}
		tuning, err := ParseTuning(spec)
		if err != nil {
			t.Fatal(err)
		}
		chord := someChord().Draw(t, "chord")
		wantWorst, wantWeighted := math.Inf(1), math.Inf(1)
		_, roots := tuning.Period()
		for root := range roots {
			worst, weighted := bruteForce(tuning, chord, root)
			wantWorst, wantWeighted = min(wantWorst, worst), min(wantWeighted, weighted)
		}
		byWorst, byWeighted := FitChord(tuning, chord, ByWorst), FitChord(tuning, chord, ByWeighted)
		if math.Abs(byWorst.WorstCents-wantWorst) > 1e-8 {
			t.Fatalf("%v in %v: worst %v, search finds %v", chord, tuning, byWorst.WorstCents, wantWorst)
		}
		// Two places each side are not all choices, so the search may only do better.
		if byWeighted.WeightedCents > wantWeighted+1e-8 {
			t.Fatalf("%v in %v: weighted %v, search finds %v", chord, tuning, byWeighted.WeightedCents, wantWeighted)
		}
		for _, f := range []ChordFit{byWorst, byWeighted} {
			worst, weighted := errorsOf(tuning, chord, f.Root.Step, f.Steps)
			if math.Abs(worst-f.WorstCents) > 1e-8 || math.Abs(weighted-f.WeightedCents) > 1e-8 {
				t.Fatalf("%v in %v: reports %v and %v, its notes have %v and %v", chord, tuning, f.WorstCents, f.WeightedCents, worst, weighted)
			}
		}
	})
}

// The fast ranking and the search over a tuning's notes agree.
func TestRankAgainstFit(t *testing.T) {
	chords := mustChords(t, "4:5:6:7, 10:12:15, 8:9:10:11:12")
	for _, by := range []Objective{ByWorst, ByWeighted, ByRelative} {
		ranks, err := RankDivisions(5, 60, octave, chords, by)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range ranks {
			fit := fitAll(mustTuning(t, strconv.Itoa(r.Division)+"edo"), chords, by)
			if math.Abs(fit.WorstCents-r.WorstCents) > 1e-8 || math.Abs(fit.WeightedCents-r.WeightedCents) > 1e-8 ||
				math.Abs(fit.RelativeWorst-r.RelativeWorst) > 1e-8 || fit.Consistent != r.Consistent {
				t.Errorf("%s: %dedo: rank %+v, fit %+v", by, r.Division, r, fit)
			}
			if i > 0 && r.figure(by) < ranks[i-1].figure(by) {
				t.Errorf("%s: number %d is better than number %d", by, i+1, i)
			}
		}
	}
}

func TestBestThirdsAndFifth(t *testing.T) {
	chord := mustChords(t, "4:5:6")[0]
	for n, consistent := range map[int]bool{12: true, 19: true, 31: true, 41: true, 53: true, 72: true, 17: false, 24: true} {
		fit := FitChord(mustTuning(t, strconv.Itoa(n)+"edo"), chord, ByWorst)
		round := func(ratio float64) int { return int(math.Round(float64(n) * math.Log2(ratio))) }
		if want := round(5.0/4)+round(6.0/5) == round(3.0/2); fit.Consistent != want || want != consistent {
			t.Errorf("%dedo: consistent %v, thirds and fifth say %v", n, fit.Consistent, want)
		}
		if _, found := fit.InconsistentPair(); found == fit.Consistent {
			t.Errorf("%dedo: consistent %v, but a pair that is not: %v", n, fit.Consistent, found)
		}
	}
}

// TestConsistentLimit compares with the definition, tried on every pair.
func TestConsistentLimit(t *testing.T) {
	for n := 1; n <= 120; n++ {
		if got, want := ConsistentLimit(n), limitByDefinition(n); got != want {
			t.Errorf("%dedo: %d, want %d", n, got, want)
		}
	}
	// Well-known limits, from memory.
	for n, want := range map[int]int{12: 9, 22: 11, 29: 15, 31: 11, 41: 15, 53: 9, 58: 17, 72: 17, 80: 19, 94: 23} {
		if got := ConsistentLimit(n); got != want {
			t.Errorf("%dedo: %d, want %d", n, got, want)
		}
	}
}

func limitByDefinition(n int) int {
	best := func(a, b int) int { return int(math.Round(float64(n) * math.Log2(float64(a)/float64(b)))) }
	for q := 3; ; q += 2 {
		for a := 1; a <= q; a += 2 {
			for b := 1; b <= q; b += 2 {
				for c := 1; c <= q; c += 2 {
					if best(a, b)+best(b, c) != best(a, c) {
						return q - 2
					}
				}
			}
		}
	}
}

func TestChordErrors(t *testing.T) {
	for text, want := range map[string]string{
		"4:5:x": `"x"`, "4": "2 to 12", "4:5,,6": "missing", "4:5:5": `"5" is note "5"`, "4:0": `"0"`,
		"1:2000000": "2000000", "4:5/2": `"5/2"`, "": "missing",
	} {
		if _, err := ParseChords(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one that says %s", text, err, want)
		}
	}
	for _, text := range []string{"99..5", "0..5", "5..99999", "x", ""} {
		if _, _, err := ParseDivisions(text); err == nil || !strings.Contains(err.Error(), "5..99") {
			t.Errorf("%q: error %v", text, err)
		}
	}
}

func BenchmarkRankDivisions(b *testing.B) {
	chords := mustChords(b, "4:5:6:7, 10:12:15, 8:9:10:11:12")
	for _, by := range []Objective{ByWorst, ByWeighted} {
		b.Run("5000/"+string(by), func(b *testing.B) {
			for b.Loop() {
				if _, err := RankDivisions(5, 5004, octave, chords, by); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
