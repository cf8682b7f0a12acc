package ensemble

import "math"

// factor replaces the lower triangle of the n×n symmetric matrix a (row-major) by its Cholesky
// factor L, a = L·Lᵀ. Pivots that have lost all but a small part of their size are kept at that
// size, so that nearly dependent columns stay harmless.
func factor(a []float64, n int) {
	for i := range n {
		ri := a[i*n : i*n+i+1]
		before := ri[i]
		for j := range i {
			rj := a[j*n : j*n+j+1]
			sum := ri[j]
			head := ri[:j]
			for k, v := range rj[:len(head)] {
				sum -= head[k] * v
			}
			ri[j] = sum / rj[j]
		}
		d := before
		for _, v := range ri[:i] {
			d -= v * v
		}
		ri[i] = math.Sqrt(math.Max(d, 1e-12*before+math.SmallestNonzeroFloat64))
	}
}

// forward solves L·x = b in place.
func forward(l []float64, n int, b []float64) {
	for i := range n {
		sum := b[i]
		for k, v := range l[i*n : i*n+i] {
			sum -= v * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
}

// backward solves Lᵀ·x = b in place for the leading m×m block of the n×n factor l.
func backward(l []float64, n, m int, b []float64) {
	for i := m - 1; i >= 0; i-- {
		b[i] /= l[i*n+i]
		x := b[i]
		for k, v := range l[i*n : i*n+i] {
			b[k] -= v * x
		}
	}
}

// solve solves L·Lᵀ·x = b in place.
func solve(l []float64, n int, b []float64) {
	forward(l, n, b)
	backward(l, n, n, b)
}

// grow returns a slice of length n, reusing s where it is large enough.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	return s[:n]
}
