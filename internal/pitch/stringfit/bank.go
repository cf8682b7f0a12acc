package stringfit

import "math"

// A Bank demodulates a stretch of samples at a set of frequencies, one per partial. The samples
// are cut into sub-blocks of m samples; for each sub-block and frequency Ω it keeps
//
//	z = Σ x[n]·exp(−iΩ(n−c))
//
// with c the middle of the sub-block. Nothing is lost by that as long as what sounds near Ω
// moves little against it within a sub-block, so all later work (strobe, fits of any window)
// is done on z, which has m times fewer values per partial than the sound has samples.
type Bank struct {
	M      int       // samples in a sub-block
	Omega  []float64 // [rad/sample], one per row
	cos    []float64 // rows × half: cosine at the distances from the middle
	sin    []float64
	half   int
	re, im [][]float64 // rows × sub-blocks
	N      int         // sub-blocks held
	First  int64       // sample index of the first sub-block's first sample
	sum    []float64   // folded samples, work space
	diff   []float64
	energy []float64   // Σ x² of each sub-block
	probes []hannProbe // one per row
}

// newBank returns an empty bank for at most rows frequencies and length sub-blocks of m samples.
func newBank(m, rows, length int) *Bank {
	half := (m + 1) / 2
	b := &Bank{
		M: m, half: half,
		Omega: make([]float64, 0, rows),
		cos:   make([]float64, rows*half), sin: make([]float64, rows*half),
		re: make([][]float64, rows), im: make([][]float64, rows),
		sum: make([]float64, half), diff: make([]float64, half),
		energy: make([]float64, length), probes: make([]hannProbe, rows),
	}
	for r := range b.re {
		b.re[r] = make([]float64, length)
		b.im[r] = make([]float64, length)
	}
	return b
}

// tune sets the frequencies (rad/sample) and empties the bank; the next sub-block begins at
// sample index first.
func (b *Bank) tune(omega []float64, first int64) {
	b.Omega = append(b.Omega[:0], omega...)
	b.First, b.N = first, 0
	for r, w := range b.Omega {
		for j := range b.half {
			d := float64(j) + 0.5*float64(1-b.M%2) // distance from the middle, samples
			s, c := math.Sincos(w * d)
			if b.M%2 == 1 && j == 0 {
				c = 0.5 // the middle sample stands in sum twice
			}
			b.cos[r*b.half+j], b.sin[r*b.half+j] = c, s
		}
	}
}

// full reports whether no further sub-block fits.
func (b *Bank) full() bool { return b.Left() == 0 }

// At returns the sample index of the first sample of sub-block j.
func (b *Bank) At(j int) int64 { return b.First + int64(j)*int64(b.M) }

// Left returns how many further sub-blocks fit.
func (b *Bank) Left() int { return len(b.energy) - b.N }

// push adds the sub-block x of m samples.
func (b *Bank) push(x []float64) {
	x = x[:b.M]
	up, down := b.M/2, (b.M-1)/2 // the two middle samples, or the middle one twice
	sum, diff := b.sum[:b.half], b.diff[:b.half]
	var twice float64 // the energy
	for j := range sum {
		p, q := x[up+j], x[down-j]
		s, d := p+q, p-q
		sum[j], diff[j] = s, d
		twice += s*s + d*d
	}
	if up == down {
		twice -= 2 * x[up] * x[up]
	}
	b.energy[b.N] = twice / 2
	last := len(b.Omega) - 1
	const together = 3 // rows
	for r := 0; r <= last; r += together {
		// The last row again, where there are not that many.
		b.correlate([3]int{r, min(r+1, last), min(r+2, last)})
	}
	b.N++
}

// correlate stores the products of the folded samples with the cosines and sines of some rows: together,
// because single sums would wait for each other.
func (b *Bank) correlate(rows [3]int) {
	sum := b.sum
	diff := b.diff[:len(sum)]
	cos0, sin0 := b.cos[rows[0]*b.half:][:len(sum)], b.sin[rows[0]*b.half:][:len(sum)]
	cos1, sin1 := b.cos[rows[1]*b.half:][:len(sum)], b.sin[rows[1]*b.half:][:len(sum)]
	cos2, sin2 := b.cos[rows[2]*b.half:][:len(sum)], b.sin[rows[2]*b.half:][:len(sum)]
	var re0, im0, re1, im1, re2, im2 float64
	for j, v := range sum {
		d := diff[j]
		re0 += v * cos0[j]
		im0 += d * sin0[j]
		re1 += v * cos1[j]
		im1 += d * sin1[j]
		re2 += v * cos2[j]
		im2 += d * sin2[j]
	}
	b.re[rows[0]][b.N], b.im[rows[0]][b.N] = re0, -im0
	b.re[rows[1]][b.N], b.im[rows[1]][b.N] = re1, -im1
	b.re[rows[2]][b.N], b.im[rows[2]][b.N] = re2, -im2
}

// Drop forgets the oldest n sub-blocks.
func (b *Bank) Drop(n int) {
	for r := range b.Omega {
		copy(b.re[r], b.re[r][n:b.N])
		copy(b.im[r], b.im[r][n:b.N])
	}
	copy(b.energy, b.energy[n:b.N])
	b.N -= n
	b.First += int64(n) * int64(b.M)
}

// row returns z of row r in sub-block j.
func (b *Bank) row(r, j int) complex128 { return complex(b.re[r][j], b.im[r][j]) }

// SumEnergy returns Σ x² over the sub-blocks [from, to).
func (b *Bank) SumEnergy(from, to int) float64 {
	var sum float64
	for _, e := range b.energy[from:to] {
		sum += e
	}
	return sum
}
