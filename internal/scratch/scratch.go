// Package scratch has what work space needs that is kept from call to call, so that hot loops allocate nothing.
package scratch

// Grow returns a slice of length n, reusing s where it is large enough. What it holds is not cleared.
func Grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
