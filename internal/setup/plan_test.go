package setup

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// loss is what a plan minimises, reckoned from the normal matrix of its notes, not note by note.
func loss(d *design, notes []Note) float64 {
	m := d.o.Model
	m.SlotMM = plannedSlot
	_, variance := d.priors(m)
	for i := range d.board.Strings {
		variance[d.stiff(i)] = 0.1 * 0.1
	}
	normal := mat.NewSymDense(d.size(), nil)
	for j, v := range variance {
		normal.SetSym(j, j, 1/v)
	}
	for _, n := range notes {
		_, a := d.predict(n, d.x)
		a.information(normal, d.noise())
	}
	cov, _, err := invert(normal, make([]float64, d.size()))
	if err != nil {
		return math.Inf(1)
	}
	sum := 0.0
	for j, v := range d.value {
		sum += v * cov.At(j, j)
	}
	return sum
}

// TestPlanBeatsOthers compares the plan with frets spread evenly, with the lowest, with the
// highest, and with a thousand random choices of as many frets. Seed 3.
func TestPlanBeatsOthers(t *testing.T) {
	for _, name := range []string{"guitar-12edo", "guitar-41edo-alternate", "dulcimer-22edo"} {
		board := boardOf(t, name)
		o := PlanOptions{Notes: 10, Model: UsualModel, Plucks: 2}
		d := newDesign(board, o)
		var plan []Note
		counts := map[int]int{} // fretted notes a string
		for _, s := range planOf(t, board, o).Steps {
			plan = append(plan, s.Note)
			if s.Fret > 0 {
				counts[s.String]++
			}
		}
		ours := loss(d, plan)
		with := func(pick func(i, count int) []int) float64 {
			var notes []Note
			for i, s := range board.Strings {
				n := s.Number
				notes = append(notes, Note{String: n}, Note{String: n, Harmonic: 2}, Note{String: n, Harmonic: 3}, Note{String: n})
				for _, fret := range pick(i, counts[n]) {
					notes = append(notes, Note{String: n, Fret: fret})
				}
			}
			return loss(d, notes)
		}
		others := map[string]float64{
			"even": with(func(i, count int) []int {
				var frets []int
				for k := range count {
					frets = append(frets, 1+k*(board.usable(i)-1)/(count-1))
				}
				return frets
			}),
			"lowest":  with(func(_, count int) []int { return upTo(1, count) }),
			"highest": with(func(i, count int) []int { return upTo(board.usable(i)-count+1, count) }),
		}
		rng := rand.New(rand.NewPCG(3, 3))
		others["best of random"] = math.Inf(1)
		for range 1000 {
			l := with(func(i, count int) []int {
				all := rng.Perm(board.usable(i))[:count]
				for k := range all {
					all[k]++
				}
				return all
			})
			others["best of random"] = min(others["best of random"], l)
		}
		t.Logf("%s: plan %.5f mm², others %v", name, ours, others)
		for other, l := range others {
			if l < ours {
				t.Errorf("%s: %s loses %.5f mm², the plan %.5f", name, other, l, ours)
			}
		}
	}
}

func upTo(first, count int) []int {
	var frets []int
	for k := range count {
		frets = append(frets, first+k)
	}
	return frets
}

// TestPlanExpects checks the expected standard errors against those of a fit of that plan.
func TestPlanExpects(t *testing.T) {
	board := boardOf(t, "guitar-41edo-alternate")
	plan := planOf(t, board, PlanOptions{})
	r, err := newWorld(board).play(t, plan, rand.New(rand.NewPCG(5, 5))).Fit()
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range plan.Expected {
		got := r.Strings[i].PlaceSigma
		if math.Abs(got.NutMM/e.NutMM-1) > 0.35 || math.Abs(got.SaddleMM/e.SaddleMM-1) > 0.35 {
			t.Errorf("string %d: fitted ±%.3f ±%.3f mm, expected ±%.3f ±%.3f", e.Number, got.NutMM, got.SaddleMM, e.NutMM, e.SaddleMM)
		}
	}
}

// On alternate frets of 41 equal steps no fret is an octave; the plan says so, and has one high and
// some low frets on every string.
func TestPlanWithoutOctave(t *testing.T) {
	board := boardOf(t, "guitar-41edo-alternate")
	plan := planOf(t, board, PlanOptions{})
	if words := strings.Join(plan.Words, " "); !strings.Contains(words, "No fret is an octave (fret 20 comes nearest, -29.3 cents") {
		t.Errorf("the plan says %q", words)
	}
	for _, s := range board.Strings {
		low, high, last := 0, 0, 0
		for _, step := range plan.Steps {
			if step.String != s.Number || step.Fret == 0 {
				continue
			}
			if step.Fret <= last {
				t.Errorf("string %d: fret %d comes after %d", s.Number, step.Fret, last)
			}
			last = step.Fret
			switch r := s.Frets[step.Fret-1].Ratio(); {
			case r < 1.4:
				low++
			case r > 2:
				high++
			}
			if step.Why == "" {
				t.Errorf("%s: no reason", step.Text())
			}
		}
		if low < 2 || high < 1 {
			t.Errorf("string %d: %d low and %d high frets do not part nut from saddle", s.Number, low, high)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	for want, o := range map[string]PlanOptions{
		"too few":        {Notes: 3},
		"no such string": {Strings: []int{7}},
	} {
		if _, err := MakePlan(board, o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: error %v, want %q in it", o, err, want)
		}
	}
	short := *board
	short.Strings = slices.Clone(board.Strings)
	short.Strings[0].Frets = short.Strings[0].Frets[:1]
	if _, err := MakePlan(&short, PlanOptions{Strings: []int{1}}); !errors.Is(err, errFewFrets) {
		t.Errorf("a string with one fret: %v", err)
	}
	if p := planOf(t, &short, PlanOptions{}); p.Steps[0].String != 2 {
		t.Errorf("a plan begins with string %d, which has one fret", p.Steps[0].String)
	}
	p := planOf(t, board, PlanOptions{Strings: []int{6, 2}})
	if !slices.ContainsFunc(p.Steps, func(s Step) bool { return s.String == 2 }) || slices.ContainsFunc(p.Steps, func(s Step) bool { return s.String == 1 }) {
		t.Error("a plan for strings 6 and 2 has others, or lacks one")
	}
}
