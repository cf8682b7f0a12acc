package ensemble

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// TestBank compares the folded sums with the defining one.
func TestBank(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	omega := []float64{0.01, 0.3, 1.2}
	for _, m := range []int{1, 2, 5, 29, 32} {
		b := newBank(omega, m, 3)
		for range 3 {
			x := make([]float64, m)
			for i := range x {
				x[i] = rng.NormFloat64()
			}
			b.push(x)
			for r, w := range omega {
				var want complex128
				for n, v := range x {
					want += complex(v/float64(m), 0) * cmplx.Rect(1, -w*(float64(n)-float64(m-1)/2))
				}
				if got := b.y[r][b.n-1]; cmplx.Abs(got-want) > 1e-12 {
					t.Errorf("m %d, Ω %g: %v, want %v", m, w, got, want)
				}
			}
		}
	}
}

// TestFactor solves a random system.
func TestFactor(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 7
	var root, a [n * n]float64
	for i := range root {
		root[i] = rng.NormFloat64()
	}
	for i := range n {
		for j := range n {
			for k := range n {
				a[i*n+j] += root[i*n+k] * root[j*n+k]
			}
		}
	}
	want := [n]float64{1, -2, 3, 0.5, 0, 7, -1}
	var b [n]float64
	for i := range n {
		for j := range n {
			b[i] += a[i*n+j] * want[j]
		}
	}
	l := a
	factor(l[:], n)
	solve(l[:], n, b[:])
	for i := range n {
		if math.Abs(b[i]-want[i]) > 1e-8 {
			t.Errorf("x[%d] is %g, want %g", i, b[i], want[i])
		}
	}
}
