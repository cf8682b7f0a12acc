package ensemble

import "math"

// A bank demodulates a stream at a set of fixed frequencies as it comes. The samples are cut into
// sub-blocks of m; for each sub-block and frequency Ω it keeps
//
//	y = (1/m)·Σ x[n]·exp(−iΩ(n−c)), c the middle of the sub-block
//
// What sounds near Ω moves little against it within a sub-block, so a fit at any frequency close
// by can work on y, which has m times fewer values than the sound has samples.
type bank struct {
	m        int
	omega    []float64 // [rad/sample]
	cos, sin []float64 // rows × half, at the distances from the middle, over m
	half     int
	y        [][]complex128 // rows × sub-blocks
	n        int            // sub-blocks held
	sum      []float64
	diff     []float64
}

// newBank returns an empty bank with room for length sub-blocks of m samples.
func newBank(omega []float64, m, length int) *bank {
	half := (m + 1) / 2
	b := &bank{
		m: m, omega: omega, half: half, y: make([][]complex128, len(omega)),
		cos: make([]float64, len(omega)*half), sin: make([]float64, len(omega)*half),
		sum: make([]float64, half), diff: make([]float64, half),
	}
	for r, w := range omega {
		b.y[r] = make([]complex128, length)
		for j := range half {
			s, c := math.Sincos(w * (float64(j) + 0.5*float64(1-m%2)))
			if m%2 == 1 && j == 0 {
				c = 0.5 // the middle sample stands in sum twice
			}
			b.cos[r*half+j], b.sin[r*half+j] = c/float64(m), s/float64(m)
		}
	}
	return b
}

// push adds the sub-block x of m samples; there must be room.
func (b *bank) push(x []float64) {
	x = x[:b.m]
	up, down := b.m/2, (b.m-1)/2 // the two middle samples, or the middle one twice
	for j := range b.half {
		p, q := x[up+j], x[down-j]
		b.sum[j], b.diff[j] = p+q, p-q
	}
	for r := range b.omega {
		c := b.cos[r*b.half:][:len(b.sum)]
		s := b.sin[r*b.half:][:len(b.sum)]
		diff := b.diff[:len(b.sum)]
		var re, im float64
		for j, v := range b.sum {
			re += v * c[j]
			im += diff[j] * s[j]
		}
		b.y[r][b.n] = complex(re, -im)
	}
	b.n++
}

// keep forgets all but the newest n sub-blocks.
func (b *bank) keep(n int) {
	for r := range b.y {
		copy(b.y[r], b.y[r][b.n-n:b.n])
	}
	b.n = n
}
