package detune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// randomProblem draws chords on a guitar whose demands contradict one another, limits that some of
// them hit, and weights.
func randomProblem(t testing.TB, rng *rand.Rand) Problem {
	in := builtin(t, "guitar-12edo")
	parts := []string{"4", "5", "6", "7", "8", "9", "10", "12", "15"}
	p := Problem{Instrument: in, Anchor: rng.IntN(7), Limits: make([]Limit, 6)}
	for i := range p.Limits {
		p.Limits[i] = Limit{rng.Float64() * 60, rng.Float64() * 60}
	}
	for range 2 + rng.IntN(3) {
		order, count := rng.Perm(6), 2+rng.IntN(3)
		text := ""
		for _, s := range order[:count] {
			text += fmt.Sprintf(" %d=%s", s+1, parts[rng.IntN(len(parts))])
		}
		c := chordsOf(t, in, "0 0 0 0 0 0 as"+text)[0]
		// The ratios drawn are anywhere; frets that no guitar has bring them within reach.
		c.Weight = math.Exp(rng.NormFloat64())
		p.Chords = append(p.Chords, c)
	}
	return p.withDefaults()
}

// reach moves every base of the demands to within 50 cents, as frets would.
func reach(demands []demand) {
	for _, d := range demands {
		for i := range d.notes {
			d.notes[i].base = math.Remainder(d.notes[i].base, 100)
		}
	}
}

func randomSystem(t testing.TB, seed uint64) *system {
	rng := rand.New(rand.NewPCG(seed, 5))
	p := randomProblem(t, rng)
	demands, err := p.demands(p.Chords, make([]float64, 6))
	if err != nil {
		t.Fatal(err)
	}
	reach(demands)
	return newSystem(demands, p.bounds())
}

// squares returns Σ_j w_j Σ_i (base + x − t)² + stay·Σx², summed as it is written.
func squares(s *system, x []float64) float64 {
	sum := 0.0
	for _, d := range s.demands {
		for _, off := range d.errors(x) {
			sum += d.weight / s.scale * off * off
		}
	}
	for _, m := range x {
		sum += stay * m * m
	}
	return sum
}

// enumerate solves the bounded least squares another way: for every choice of strings at their
// lower limit, at their upper one and between, solve for moves and roots together by singular
// values, and take the best that keeps the limits.
func enumerate(t *testing.T, s *system) []float64 {
	n := len(s.strings)
	choices := 1
	for range n {
		choices *= 3
	}
	var best []float64
	least := math.Inf(1)
	for choice := range choices {
		x := make([]float64, len(s.bounds))
		free := []int{}
		for k, c := 0, choice; k < n; k, c = k+1, c/3 {
			switch i := s.strings[k]; c % 3 {
			case 0:
				free = append(free, i)
			case 1:
				x[i] = s.bounds[i].lo
			case 2:
				x[i] = s.bounds[i].hi
			}
		}
		if solveFree(t, s, x, free) && squares(s, x) < least {
			best, least = x, squares(s, x)
		}
	}
	return best
}

// solveFree sets the free moves of x, and says whether they keep the limits.
func solveFree(t *testing.T, s *system, x []float64, free []int) bool {
	if len(free) == 0 {
		return true
	}
	var rows [][]float64
	var rhs []float64
	unknowns := len(free) + len(s.demands)
	for j, d := range s.demands {
		w := math.Sqrt(d.weight / s.scale)
		for _, n := range d.notes {
			row := make([]float64, unknowns)
			row[len(free)+j] = -w
			for k, i := range free {
				if i == n.str {
					row[k] = w
				}
			}
			rows, rhs = append(rows, row), append(rhs, -w*(n.base+x[n.str]))
		}
	}
	for k := range free {
		row := make([]float64, unknowns)
		row[k] = math.Sqrt(stay)
		rows, rhs = append(rows, row), append(rhs, 0)
	}
	a := mat.NewDense(len(rows), unknowns, nil)
	for i, row := range rows {
		a.SetRow(i, row)
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		t.Fatal("no singular values")
	}
	var solution mat.VecDense
	svd.SolveVecTo(&solution, mat.NewVecDense(len(rhs), rhs), svd.Rank(1e-12))
	for k, i := range free {
		x[i] = solution.AtVec(k)
		if x[i] < s.bounds[i].lo-1e-9 || x[i] > s.bounds[i].hi+1e-9 {
			return false
		}
	}
	return true
}

// The quadratic programme against the enumeration of all active sets.
func TestLeastSquaresAgainstEnumeration(t *testing.T) {
	atLimit := 0
	for seed := range uint64(60) {
		s := randomSystem(t, seed)
		if len(s.strings) == 0 {
			continue
		}
		got, err := s.leastSquares()
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		want := enumerate(t, s)
		for i := range got {
			near(t, fmt.Sprintf("seed %d, string %d", seed, i+1), got[i], want[i], 1e-4) // stay leaves 1e-16/1e-8 of some 100 cents
			if b := s.bounds[i]; b.hi > b.lo && (got[i] == b.lo || got[i] == b.hi) {
				atLimit++
			}
		}
	}
	if atLimit < 20 {
		t.Errorf("only %d strings at a limit: the problems are too easy", atLimit)
	}
}

// worstOf returns the largest weighted error of any note, its chord's root halfway between the
// outermost.
func worstOf(s *system, x []float64) float64 {
	worst := 0.0
	for _, d := range s.demands {
		low, high := math.Inf(1), math.Inf(-1)
		for _, n := range d.notes {
			low, high = min(low, n.base+x[n.str]), max(high, n.base+x[n.str])
		}
		worst = max(worst, d.weight/s.scale*(high-low)/2)
	}
	return worst
}

// simplexWorst solves the linear programme of leastWorst by the simplex method of gonum, in
// standard form: all unknowns at or above 0 (x from lo, t from the lowest note that a chord can
// have), a slack unknown for every row. All slacks, with e in the place of that of the row that is
// missed most, are a feasible start.
func simplexWorst(t *testing.T, s *system) float64 {
	nx, nt := len(s.strings), len(s.demands)
	rows := nx
	for _, d := range s.demands {
		rows += 2 * len(d.notes)
	}
	e, first := nx+nt, nx+nt+1 // columns of e and of the slacks
	a, b := mat.NewDense(rows, first+rows, nil), make([]float64, rows)
	row := 0
	add := func(rhs float64) {
		a.Set(row, first+row, 1)
		b[row] = rhs
		row++
	}
	for k, i := range s.strings {
		a.Set(row, k, 1)
		add(s.bounds[i].hi - s.bounds[i].lo)
	}
	for j, d := range s.demands {
		w, root := d.weight/s.scale, lowestRoot(s, d)
		for _, n := range d.notes {
			k, lo := s.column[n.str], 0.0
			if k >= 0 {
				lo = s.bounds[n.str].lo
			}
			for _, sign := range [2]float64{1, -1} {
				if k >= 0 {
					a.Set(row, k, sign*w)
				}
				a.Set(row, nx+j, -sign*w)
				a.Set(row, e, -1)
				add(-sign * w * (n.base + lo - root))
			}
		}
	}
	cost := make([]float64, first+rows)
	cost[e] = 1
	best, _, err := lp.Simplex(cost, a, b, 1e-10, feasibleStart(b, e, first))
	if err != nil {
		t.Fatal(err)
	}
	return best
}

// lowestRoot returns the lowest that a root can be between the notes of its chord.
func lowestRoot(s *system, d demand) float64 {
	low := math.Inf(1)
	for _, n := range d.notes {
		lo := n.base
		if s.column[n.str] >= 0 {
			lo += s.bounds[n.str].lo
		}
		low = min(low, lo)
	}
	return low
}

// feasibleStart returns the basic columns of the start.
func feasibleStart(b []float64, e, first int) []int {
	basic := make([]int, len(b))
	most, at := 0.0, -1
	for i := range basic {
		basic[i] = first + i
		if b[i] < most {
			most, at = b[i], i
		}
	}
	if at >= 0 {
		basic[at] = e
	}
	return basic
}

// The bisection against the simplex method. Of the moves with the least worst error those of least
// squares are taken: no small step that keeps it lowers them.
func TestWorstErrorAgainstSimplex(t *testing.T) {
	for seed := range uint64(200) {
		s := randomSystem(t, seed)
		if len(s.strings) == 0 {
			continue
		}
		x, err := s.worstError()
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		got := worstOf(s, x)
		near(t, fmt.Sprintf("seed %d: worst error", seed), got, simplexWorst(t, s), 1e-6)
		rng := rand.New(rand.NewPCG(seed, 6))
		at := squares(s, x)
		for range 200 {
			y := append([]float64(nil), x...)
			for _, i := range s.strings {
				y[i] = min(max(y[i]+1e-2*rng.NormFloat64(), s.bounds[i].lo), s.bounds[i].hi)
			}
			if worstOf(s, y) <= got && squares(s, y) < at-1e-7 {
				t.Fatalf("seed %d: %v is as good at worst and better in squares than %v", seed, y, x)
			}
		}
	}
}

// Numerical noise must not keep a plan from being found, whatever the demands.
func TestSolversAlwaysSettle(t *testing.T) {
	for seed := uint64(1000); seed < 1600; seed++ {
		s := randomSystem(t, seed)
		if seed%3 == 0 { // many ties
			for _, d := range s.demands {
				for i := range d.notes {
					d.notes[i].base = 10 * math.Round(d.notes[i].base/10)
				}
			}
			for i := range s.bounds {
				s.bounds[i].lo, s.bounds[i].hi = 10*math.Round(s.bounds[i].lo/10), 10*math.Round(s.bounds[i].hi/10)
			}
			s = newSystem(s.demands, s.bounds)
		}
		if len(s.strings) == 0 {
			continue
		}
		if _, err := s.leastSquares(); err != nil {
			t.Errorf("seed %d: least squares: %v", seed, err)
		}
		if _, err := s.worstError(); err != nil {
			t.Errorf("seed %d: worst error: %v", seed, err)
		}
	}
}

// BenchmarkThreeChords is a plan for three chords of six, five and four strings.
func BenchmarkThreeChords(b *testing.B) {
	in := builtin(b, "guitar-12edo")
	chords := chordsOf(b, in, "G: 3 2 0 0 0 3 as 4:5:6:8:10:16", "C: x 3 2 0 1 0 as 4:5:6:8:10", "D: x x 0 2 3 2 as 2:3:4:5")
	for _, method := range []Method{LeastSquares, WorstError, BeatEnergy} {
		b.Run("method="+string(method), func(b *testing.B) {
			for b.Loop() {
				solve(b, Problem{Instrument: in, Chords: chords, Anchor: 3, Method: method})
			}
		})
	}
}
