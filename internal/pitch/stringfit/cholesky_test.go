package stringfit

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// hermitian returns G·Gᴴ for a random n×rank matrix G, plus shift on the diagonal.
func hermitian(n, rank int, shift float64, rng *rand.Rand) []complex128 {
	g := make([]complex128, n*rank)
	for i := range g {
		g[i] = complex(rng.NormFloat64(), rng.NormFloat64())
	}
	a := make([]complex128, n*n)
	for i := range n {
		for j := range n {
			for k := range rank {
				a[i*n+j] += g[i*rank+k] * cmplx.Conj(g[j*rank+k])
			}
		}
		a[i*n+i] += complex(shift, 0)
	}
	return a
}

// embed returns the real 2n×2n matrix [Re −Im; Im Re], which acts on (Re x, Im x) as a does on x.
func embed(a []complex128, n int) *mat.SymDense {
	s := mat.NewSymDense(2*n, nil)
	for i := range n {
		for j := range n {
			s.SetSym(i, j, real(a[i*n+j]))
			s.SetSym(n+i, n+j, real(a[i*n+j]))
			s.SetSym(i, n+j, -imag(a[i*n+j]))
		}
	}
	return s
}

// The twin is gonum's real Cholesky factorisation of the embedded matrix.
func TestHermitianAgainstGonum(t *testing.T) {
	for n := 1; n <= 40; n += 3 {
		rng := newRand(uint64(n))
		a := hermitian(n, n+2, 0.1, rng)
		var twin mat.Cholesky
		if !twin.Factorize(embed(a, n)) {
			t.Fatalf("n = %d: gonum finds the matrix not positive", n)
		}
		rhs := make([]complex128, n)
		wide := mat.NewVecDense(2*n, nil)
		for i := range rhs {
			rhs[i] = complex(rng.NormFloat64(), rng.NormFloat64())
			wide.SetVec(i, real(rhs[i]))
			wide.SetVec(n+i, imag(rhs[i]))
		}
		var want mat.VecDense
		var inverse mat.SymDense
		if err := twin.SolveVecTo(&want, wide); err != nil {
			t.Fatal(err)
		}
		if err := twin.InverseTo(&inverse); err != nil {
			t.Fatal(err)
		}
		l := append([]complex128(nil), a...)
		for i := range n {
			for j := i + 1; j < n; j++ {
				l[i*n+j] = cmplx.NaN() // the upper triangle is not read
			}
		}
		factorHermitian(l, n, 1e-13)
		tol := 1e-12 * twin.Cond()
		solveHermitian(l, n, rhs)
		for i, x := range rhs {
			if !(cmplx.Abs(x-complex(want.AtVec(i), want.AtVec(n+i))) <= tol) {
				t.Errorf("n = %d: x[%d] = %v, gonum %g%+gi", n, i, x, want.AtVec(i), want.AtVec(n+i))
			}
		}
		for _, m := range []int{1, (n + 1) / 2, n} {
			tail, off := make([]complex128, m*m), n-m
			invertTail(l, n, m, tail, make([]complex128, m*m))
			for i := range m {
				for j := range m {
					w := complex(inverse.At(off+i, off+j), inverse.At(n+off+i, off+j))
					if !(cmplx.Abs(tail[i*m+j]-w) <= tol) {
						t.Errorf("n = %d, tail %d: inverse[%d,%d] = %v, gonum %v", n, m, i, j, tail[i*m+j], w)
					}
				}
			}
		}
	}
}

// Two partials at almost one frequency make columns that are all but the same.
func TestHermitianNearlySingularStaysFinite(t *testing.T) {
	const n = 12
	for _, shift := range []float64{0, 1e-300, 1e-16, 1e-12} {
		for _, rank := range []int{0, 1, 5, 11} {
			rng := newRand(uint64(rank))
			l := hermitian(n, rank, shift, rng)
			factorHermitian(l, n, 1e-13)
			x, inverse := make([]complex128, n), make([]complex128, n*n)
			for i := range x {
				x[i] = complex(rng.NormFloat64(), 0)
			}
			solveHermitian(l, n, x)
			invertTail(l, n, n, inverse, make([]complex128, n*n))
			for _, v := range append(x, inverse...) {
				if rank > 0 && (cmplx.IsNaN(v) || cmplx.IsInf(v)) {
					t.Fatalf("rank %d of %d, shift %g: %v", rank, n, shift, v)
				}
			}
		}
	}
}

func TestRealCholeskyAgainstGonum(t *testing.T) {
	for n := 1; n <= 30; n += 3 {
		rng := newRand(uint64(n))
		h := hermitian(n, n+2, 0.1, rng)
		a := make([]float64, n*n)
		for i, v := range h {
			a[i] = real(v)
		}
		var twin mat.Cholesky
		if !twin.Factorize(mat.NewSymDense(n, append([]float64(nil), a...))) {
			t.Fatalf("n = %d: gonum finds the matrix not positive", n)
		}
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		var want mat.VecDense
		if err := twin.SolveVecTo(&want, mat.NewVecDense(n, append([]float64(nil), x...))); err != nil {
			t.Fatal(err)
		}
		factorReal(a, n)
		forwardReal(a, n, x)
		backwardReal(a, n, x)
		for i, v := range x {
			if !(math.Abs(v-want.AtVec(i)) <= 1e-12*twin.Cond()) {
				t.Errorf("n = %d: x[%d] = %g, gonum %g", n, i, v, want.AtVec(i))
			}
		}
	}
}
