package detune

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

func builtin(t testing.TB, name string) *targets.Instrument {
	t.Helper()
	in, err := targets.LoadInstrument(name)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// bare is a guitar of which no more is known than its notes; its partials count as harmonic.
func bare(t testing.TB) *targets.Instrument {
	t.Helper()
	text := "name='bare'\ntuning='12edo'\nreference='A4=440'\nfrets={count=12}\n"
	for _, note := range []string{"E4", "B3", "G3", "D3", "A2", "E2"} {
		text += "[[strings]]\nnote='" + note + "'\n"
	}
	in, err := targets.ParseInstrument("bare.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func chordsOf(t testing.TB, in *targets.Instrument, texts ...string) []Chord {
	t.Helper()
	var all []Chord
	for _, text := range texts {
		c, err := ParseChord(in, text)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, c)
	}
	return all
}

func solve(t testing.TB, p Problem) *Plan {
	t.Helper()
	plan, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

// pairOf returns the report on two strings of a chord.
func pairOf(t testing.TB, r ChordReport, a, b int) PairReport {
	t.Helper()
	for _, p := range r.Pairs {
		if p.Low == a && p.High == b || p.Low == b && p.High == a {
			return p
		}
	}
	t.Fatalf("no pair of strings %d and %d in %s", a, b, r.Chord.String())
	return PairReport{}
}

// With equal-tempered open strings, the open B under a G chord is 13.7 cents above 4:5: 400 −
// 1200·log2(5/4) = 13.6863. A string that carries 7/4 is 31.2 cents too high: 1000 − 1200·log2(7/4)
// = 31.1741. Facts of the trade: common practice, no source.
func TestKnownMoves(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	third, seventh := 400-1200*math.Log2(1.25), 1000-1200*math.Log2(1.75)
	near(t, "third", third, 13.7, 0.05)
	near(t, "seventh", seventh, 31.2, 0.05)
	for _, method := range []Method{LeastSquares, WorstError, BeatEnergy} {
		// G3 and B3 open, D4 at fret 3: 4:5 with the fifth left alone.
		plan := solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "x x x 0 0 3 as 4:5:8"), Anchor: 3, Method: method})
		near(t, string(method)+": B", plan.Cents[1], -third, 1e-5)
		// E7 with D3 open over E2 open, an octave below its seventh: 4:7 over two octaves.
		plan = solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "0 x 0 x x x as 4:7"), Anchor: 6, Method: method})
		near(t, string(method)+": D", plan.Cents[3], -seventh, 1e-5)
		for _, other := range []int{0, 1, 2, 4, 5} {
			near(t, "a string without a part in it", plan.Cents[other], 0, 0)
		}
	}
}

// A chord in which the moved string is a fifth or an octave is off by what the string was moved, and
// what it was off before: in E minor the B is the fifth of E, −1.955 cents in equal temperament.
func TestWhatOtherChordsPay(t *testing.T) {
	in := bare(t)
	plan := solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "x x x 0 0 x as 4:5"), Anchor: 3})
	third, fifth := 400-1200*math.Log2(1.25), 700-1200*math.Log2(1.5)
	minor := plan.Report(chordsOf(t, in, "0 2 2 0 0 0 as 2:3:4:24/5:6:8")[0])
	pair := pairOf(t, minor, 6, 2)
	near(t, "fifth before", pair.CentsBefore, fifth, 1e-9)
	near(t, "fifth after", pair.CentsAfter, fifth-third, 1e-6)
	// B3 is 3/1 of E2: partial 3 of the one and partial 1 of the other, 3·82.40689 and
	// 246.94165·2^(−13.6863/1200) Hz.
	near(t, "beats before", pair.BeatBefore, math.Abs(3*82.406889-246.941651), 1e-4)
	near(t, "beats after", pair.BeatAfter, math.Abs(3*82.406889-246.941651*math.Exp2(-third/1200)), 1e-4)
	octave := plan.Report(chordsOf(t, in, "x 2 x x 0 x as 1:2")[0])
	near(t, "octave after", octave.Pairs[0].CentsAfter, -third, 1e-6)
	own := plan.Report(plan.Chords[0])
	if !(minor.Loss() > 1) || !(octave.Loss() > 1) || !(own.Loss() < -1) {
		t.Error("the chords that got worse are not those that do")
	}
}

// One chord is met exactly on any instrument, by any method, whatever string is held; without an
// anchor the moves add up to nothing, which is the least they can.
func TestOneChordIsMetExactly(t *testing.T) {
	for _, c := range []struct{ instrument, chord string }{
		{"guitar-12edo", "3 2 0 0 0 3 as 4:5:6:8:10:16"},
		{"guitar-12edo", "x 3 2 3 1 0 as 4:5:7:8:10"},
		{"guitar-41edo-alternate", "0 1 2 x x x as 4:5:6"},
		{"ukulele-12edo", "0 0 0 3 as 6:4:5:8"},
		{"bass-31edo", "x 0 3 1 as 1/1 3/2 7/4"},
	} {
		in := builtin(t, c.instrument)
		for _, method := range []Method{LeastSquares, WorstError, BeatEnergy} {
			p := Problem{Instrument: in, Chords: chordsOf(t, in, c.chord), Method: method, AcceptFar: true}
			p.Limits = make([]Limit, len(in.Strings))
			for i := range p.Limits {
				p.Limits[i] = Limit{600, 600}
			}
			for anchor := range len(in.Strings) + 1 {
				p.Anchor = anchor
				plan := solve(t, p)
				report := plan.Report(plan.Chords[0])
				if _, after := report.Worst(); after > 1e-5 || len(plan.Obstacles) > 0 {
					t.Errorf("%s, %s, %s, anchor %d: off by %g, %v", c.instrument, c.chord, method, anchor, after, plan.Obstacles)
				}
				if anchor > 0 && plan.Cents[anchor-1] != 0 {
					t.Errorf("%s: the anchor moved by %g", c.chord, plan.Cents[anchor-1])
				}
				sum := 0.0
				for _, x := range plan.Cents {
					sum += x
				}
				if anchor == 0 && method == LeastSquares {
					near(t, c.chord+": sum of the moves", sum, 0, 1e-5)
				}
			}
		}
	}
}

// A limit that is too tight is kept, and named with what it would take.
func TestObstacles(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	limits := []Limit{{50, 50}, {10, 10}, {50, 50}, {50, 50}, {50, 50}, {50, 50}}
	plan := solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "x x x 0 0 x as 4:5"), Anchor: 3, Limits: limits})
	near(t, "B as far as it may", plan.Cents[1], -10, 1e-9)
	if len(plan.Obstacles) != 1 || plan.Obstacles[0].String != 2 || !strings.Contains(plan.Obstacles[0].Text, "fall by 13.69 cents; the limit is 10.00") {
		t.Errorf("%+v", plan.Obstacles)
	}
	// Tension goes with the square of the pitch: 1% more tension is 600·log2(1.01) = 8.61 cents.
	loads := make([]LoadLimit, 6)
	loads[1].Newtons = 1.01 * plan.Changes()[1].Now.TensionN
	plan = solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "x x x 0 0 x as 7:9"), Anchor: 3, Loads: loads})
	near(t, "B as high as it may bear", plan.Cents[1], 600*math.Log2(1.01), 1e-6)
	if len(plan.Obstacles) != 1 || !plan.Obstacles[0].ByLoad || !strings.Contains(plan.Obstacles[0].Text, "rise by 35.08 cents; the tension limit allows 8.61") {
		t.Errorf("%+v", plan.Obstacles)
	}
	// G wants B low, E minor wants it high: neither is in the wrong.
	plan = solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "G: x x x 0 0 x as 4:5", "third: x x x 0 0 x as 64:81"), Anchor: 3})
	if len(plan.Obstacles) != 1 || !strings.Contains(plan.Obstacles[0].Text, "chord third wants string 2 moved by +7.82 cents against string 3, the chords before it by -13.69") {
		t.Errorf("%+v", plan.Obstacles)
	}
	near(t, "halfway", plan.Cents[1], (7.8200-13.6863)/2, 1e-4)
	// The chords contradict one another only in a ring: 4/3 and 5/4 make 5/3, not 27/16.
	plan = solve(t, Problem{Instrument: in, Anchor: 3, Chords: chordsOf(t, in,
		"x x x 0 0 x as 4:5", "x x 0 0 x x as 3:4", "ring: x x 0 x 0 x as 16:27")})
	if len(plan.Obstacles) != 1 || !strings.Contains(plan.Obstacles[0].Text, "chord ring wants string 2") {
		t.Errorf("%+v", plan.Obstacles)
	}
}
