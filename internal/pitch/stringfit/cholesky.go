package stringfit

import "math"

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
			head := ri[:j]
			for k, v := range rj[:len(head)] {
				sum -= head[k] * complex(real(v), -imag(v))
			}
			ri[j] = sum * complex(1/real(rj[j]), 0)
		}
		d := before
		for _, v := range ri[:i] {
			d -= real(v)*real(v) + imag(v)*imag(v)
		}
		ri[i] = complex(math.Sqrt(max(d, ridge*before+math.SmallestNonzeroFloat64)), 0)
	}
}

// solveHermitian solves L·Lᴴ·x = b in place, L from [factorHermitian].
func solveHermitian(l []complex128, n int, b []complex128) {
	for i := range n {
		sum := b[i]
		for k, v := range l[i*n : i*n+i] {
			sum -= v * b[k]
		}
		b[i] = sum * complex(1/real(l[i*n+i]), 0)
	}
	for i := n - 1; i >= 0; i-- {
		b[i] *= complex(1/real(l[i*n+i]), 0)
		x := b[i]
		for k, v := range l[i*n : i*n+i] {
			b[k] -= complex(real(v), -imag(v)) * x
		}
	}
}

// invertTail fills inv (m×m) with the lower right m×m block of the inverse of L·Lᴴ; work holds
// m×m values.
func invertTail(l []complex128, n, m int, inv, work []complex128) {
	off := n - m
	// Rows of work: the inverse of the triangle, row by row, so that its columns meet in dot products.
	for i := range m {
		row := l[(off+i)*n+off : (off+i)*n+off+i]
		d := complex(1/real(l[(off+i)*n+off+i]), 0)
		wi := work[i*m : i*m+i+1]
		clear(wi)
		for k, v := range row {
			for c, w := range work[k*m : k*m+k+1] {
				wi[c] -= v * w
			}
		}
		for c := range i {
			wi[c] *= d
		}
		wi[i] = d
	}
	for i := range m {
		for j := range i + 1 {
			var sum complex128
			for k := i; k < m; k++ {
				a, b := work[k*m+i], work[k*m+j]
				sum += complex(real(a), -imag(a)) * b
			}
			inv[i*m+j] = sum
			inv[j*m+i] = complex(real(sum), -imag(sum))
		}
	}
}

// ridgeReal keeps nearly dependent unknowns harmless, as the ridge of [factorHermitian]: some tens of times the rounding of
// a double.
const ridgeReal = 1e-14

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
		ri[i] = math.Sqrt(max(d, ridgeReal*before+math.SmallestNonzeroFloat64))
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

// backwardReal solves Lᵀ·x = b in place.
func backwardReal(l []float64, n int, b []float64) {
	for i := n - 1; i >= 0; i-- {
		sum := b[i]
		for k := i + 1; k < n; k++ {
			sum -= l[k*n+i] * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
}

// inverseEntry returns entry (i, i) of the inverse of L·Lᵀ, n ≤ 4.
func inverseEntry(l []float64, n, i int) float64 {
	var e [4]float64
	e[i] = 1
	forwardReal(l, n, e[:n])
	var sum float64
	for _, v := range e[:n] {
		sum += v * v
	}
	return sum
}
