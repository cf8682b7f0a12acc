package simulate

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0)) }

// TestEquilibriumByMinimiser has gonum's BFGS minimise the energy of strings and support,
//
//	E = Σ L0·T²/(2·EA) + ½·qᵀq + T*ᵀx,   x = V·q,   C = V·Vᵀ,
//
// in which neither Newton's step nor the slopes of this package have a part.
func TestEquilibriumByMinimiser(t *testing.T) {
	for _, k := range Kinds() {
		if len(k.Strings) > 40 {
			continue // the same board as with 30, and four times as slow
		}
		rng := seeded(3)
		in := New(k, Flaws{}, rng)
		start := make([]float64, in.n)
		for i := range start {
			start[i] = -90 + 60*rng.Float64()
		}
		in.Start(start)
		in.Turn(1, 20)

		var eig mat.EigenSym
		sym := mat.NewSymDense(in.n, nil)
		for i := range in.n {
			for j := i; j < in.n; j++ {
				sym.SetSym(i, j, in.give.At(i, j))
			}
		}
		if !eig.Factorize(sym, true) {
			t.Fatalf("%s: no eigenvalues", k.Name)
		}
		var vectors mat.Dense
		eig.VectorsTo(&vectors)
		values := eig.Values(nil)
		move := func(q []float64) []float64 {
			x := make([]float64, in.n)
			for m, v := range values {
				if v > 0 {
					for i := range x {
						x[i] += vectors.At(i, m) * math.Sqrt(v) * q[m]
					}
				}
			}
			return x
		}
		pulls := func(x []float64) []float64 {
			all := make([]float64, in.n)
			for i := range all {
				all[i] = in.ea[i] * ((k.Strings[i].LengthMM-x[i])/in.front[i] - 1)
			}
			return all
		}
		res, err := optimize.Minimize(optimize.Problem{
			Func: func(q []float64) float64 {
				x, e := move(q), 0.0
				for i, p := range pulls(x) {
					e += in.front[i]*p*p/(2*in.ea[i]) + k.Strings[i].TensionN*x[i] + q[i]*q[i]/2
				}
				return e
			},
			Grad: func(g, q []float64) {
				copy(g, q)
				for i, p := range pulls(move(q)) {
					for m, v := range values {
						if v > 0 {
							g[m] -= vectors.At(i, m) * math.Sqrt(v) * (p - k.Strings[i].TensionN)
						}
					}
				}
			},
		}, make([]float64, in.n), &optimize.Settings{GradientThreshold: 1e-9}, &optimize.BFGS{})
		if res == nil {
			t.Fatalf("%s: %v", k.Name, err)
		}
		x := move(res.X)
		for i, p := range pulls(x) {
			s := k.Strings[i]
			cents := 600*math.Log2(p*(1+p/in.ea[i])/(s.TensionN*(1+s.TensionN/in.ea[i]))) - 1200*math.Log2(1-x[i]/s.SoundingMM)
			if math.Abs(cents-in.cents[i]) > 1e-4 {
				t.Errorf("%s, string %d: %.6f cents, the minimum of energy has %.6f", k.Name, i+1, in.cents[i], cents)
			}
		}
	}
}

// TestFrictionHolds: a string that its nut holds feels another one less than one that is free only while the
// pulls on both sides differ by less than friction, and never sounds at a tension beyond that.
func TestFrictionHolds(t *testing.T) {
	k, _ := KindOf("floating bridge")
	free, held := New(k, Flaws{}, seeded(5)), New(k, Flaws{Friction: 0.05}, seeded(5))
	start := make([]float64, 6)
	free.Start(start)
	held.Start(start)
	free.Turn(2, 100)
	held.Turn(2, 100)
	for _, in := range []*Instrument{free, held} {
		if math.Abs(in.cents[2]-100) > 1e-6 {
			t.Fatalf("string 3 sounds at %.6f, turned to 100", in.cents[2])
		}
	}
	for _, i := range []int{0, 1, 3, 4, 5} {
		// What its nut holds is shorter, so stiffer, and falls further for the same way of the bridge.
		if !(held.cents[i] < 0) || held.cents[i] == free.cents[i] {
			t.Errorf("string %d: %.2f cents with friction, %.2f without", i+1, held.cents[i], free.cents[i])
		}
		lf, lb := held.lengths(i)
		front := (lf - held.x[i]) / held.front[i]
		back := lb / held.behind[i]
		if r := (back - 1) / (front - 1); r > math.Exp(0.05)*(1+1e-9) || r < math.Exp(-0.05)*(1-1e-9) {
			t.Errorf("string %d: its pulls differ by the factor %.4f, friction holds e^±0.05", i+1, r)
		}
	}
}

// TestCreepEnds: creep takes what was agreed off the stretch, and no more: strings of one instrument that
// does not give fall by creep·T.
func TestCreepEnds(t *testing.T) {
	k, _ := KindOf("harp, 22 nylon")
	in := New(k, Flaws{Creep: 0.02, CreepLag: 5}, seeded(7))
	in.give.Zero()
	in.Start(make([]float64, in.n))
	in.Turn(4, 200)
	tension := func() float64 { p, _ := in.pullAt(4, in.cents[4], 0); return p }
	before, start := tension(), k.Strings[4].TensionN
	for range 60 {
		in.Wait()
	}
	fallen := before - tension()
	// It had crept for its old tension already, so what is left is that of the raise.
	if want := 0.02 * (before - start); math.Abs(fallen-want) > 0.1*want {
		t.Errorf("the string lost %.3f N, 2 %% of the raise is %.3f N", fallen, want)
	}
}
