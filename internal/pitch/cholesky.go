package pitch

import (
	"math"
	"math/cmplx"
)

// The systems of a joint fit are small (up to about 100 unknowns), Hermitian and positive, and
// are solved many times a second without allocation; gonum has no complex Cholesky.

// factorHermitian replaces the lower triangle of the n×n matrix a (row-major) by its Cholesky
// factor L, a = L·Lᴴ. Pivots that have lost all but ridge of their size are kept at that size,
// so that nearly dependent columns stay harmless. It reads only the lower triangle.
func factorHermitian(a []complex128, n int, ridge float64) {
	for i := range n {
		ri := a[i*n : i*n+i+1]
		before := real(ri[i])
		for j := range i {
			rj := a[j*n : j*n+j+1]
			sum := ri[j]
			for k, v := range rj[:j] {
				sum -= ri[k] * cmplx.Conj(v)
			}
			ri[j] = sum / rj[j]
		}
		d := before
		for _, v := range ri[:i] {
			d -= real(v)*real(v) + imag(v)*imag(v)
		}
		ri[i] = complex(math.Sqrt(math.Max(d, ridge*before+math.SmallestNonzeroFloat64)), 0)
	}
}

// solveHermitian solves L·Lᴴ·x = b in place, L from [factorHermitian].
func solveHermitian(l []complex128, n int, b []complex128) {
	for i := range n {
		sum := b[i]
		for k, v := range l[i*n : i*n+i] {
			sum -= v * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		sum := b[i]
		for k := i + 1; k < n; k++ {
			sum -= cmplx.Conj(l[k*n+i]) * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
}

// invertTail fills inv (m×m) with the lower right m×m block of the inverse of L·Lᴴ.
func invertTail(l []complex128, n, m int, inv, col []complex128) {
	off := n - m
	for c := range m {
		for i := range col[:m] {
			col[i] = 0
		}
		col[c] = 1
		for i := c; i < m; i++ {
			sum := col[i]
			row := l[(off+i)*n+off:]
			for k := c; k < i; k++ {
				sum -= row[k] * col[k]
			}
			col[i] = sum / row[i]
		}
		for i := m - 1; i >= 0; i-- {
			sum := col[i]
			for k := i + 1; k < m; k++ {
				sum -= cmplx.Conj(l[(off+k)*n+off+i]) * col[k]
			}
			col[i] = sum / l[(off+i)*n+off+i]
		}
		for i := range m {
			inv[i*m+c] = col[i]
		}
	}
}

// factorReal replaces the lower triangle of the n×n symmetric matrix a by its Cholesky factor.
func factorReal(a []float64, n int) {
	for i := range n {
		ri := a[i*n : i*n+i+1]
		before := ri[i]
		for j := range i {
			rj := a[j*n : j*n+j+1]
			sum := ri[j]
			for k, v := range rj[:j] {
				sum -= ri[k] * v
			}
			ri[j] = sum / rj[j]
		}
		d := before
		for _, v := range ri[:i] {
			d -= v * v
		}
		ri[i] = math.Sqrt(math.Max(d, 1e-14*before+math.SmallestNonzeroFloat64))
	}
}

// forwardReal solves L·x = b in place, L from [factorReal].
func forwardReal(l []float64, n int, b []float64) {
	for i := range n {
		sum := b[i]
		for k, v := range l[i*n : i*n+i] {
			sum -= v * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
}
