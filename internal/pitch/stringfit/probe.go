package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
)

// A hannProbe looks at one frequency through a Hann window: the weights of a sum over sub-blocks.
type hannProbe struct {
	hz, omega, fs float64 // what it was made for: [Hz], [rad/sample] reference of the row, [Hz]
	re, im        []float64
}

// probeTurns is how far (turns in its window) from the frequency that a probe was made for it may be used.
const probeTurns = 1e-3

// Probe returns half the complex amplitude, at the middle of n sub-blocks from from, of what sounds
// at hz in row: their Hann-weighted mean, each turned to the middle.
func (b *Bank) Probe(row int, hz float64, from, n int, fs float64) complex128 {
	g := &b.probes[row]
	// A little beside its frequency, the sum is as good: about the middle, it turns as far one way as the other.
	off := math.Abs(g.hz-hz) * float64(n*b.M) / fs // turns
	if off > probeTurns || g.omega != b.Omega[row] || g.fs != fs || len(g.re) != n {
		g.setWeights(hz, b.Omega[row], fs, n, b.M)
	}
	re, im := turned(b.re[row][from:], b.im[row][from:], g.re, g.im)
	return complex(re, im)
}

// setWeights makes the weights for n sub-blocks of m samples demodulated at omega.
func (g *hannProbe) setWeights(hz, omega, fs float64, n, m int) {
	g.hz, g.omega, g.fs = hz, omega, fs
	g.re, g.im = scratch.Grow(g.re, n), scratch.Grow(g.im, n)
	step := 2 * math.Pi * hz / fs * float64(m) // rad a sub-block
	// A Hann window of n values that add up to n; a sub-block answers to a partial beside its own frequency
	// with a little less.
	gain := float64(n * m)
	const same = 1e-9 // rad, where the quotient is 1
	if d := step/2 - omega*float64(m)/2; math.Abs(d) > same && math.Abs(d) < 2 {
		gain *= math.Sin(d) / d
	}
	for i := range n {
		h := (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))) / gain
		sin, cos := math.Sincos(step * (float64(i) - float64(n-1)/2))
		g.re[i], g.im[i] = h*cos, h*sin
	}
}

// AmplitudeAt returns half the complex amplitude of what sounds at cycles a sample in row, over the latest
// sub-blocks, as many as there are weights, which add up to 1.
func (b *Bank) AmplitudeAt(weights []float64, row int, cycles float64) complex128 {
	from := b.N - len(weights)
	turn, by := complex(1/float64(b.M), 0), cmplx.Rect(1, -2*math.Pi*cycles*float64(b.M))
	var sum complex128
	for i, w := range weights {
		sum += complex(w, 0) * turn * b.row(row, from+i)
		turn *= by
	}
	return sum
}

// Hann returns a Hann window of n weights that add up to 1, in w if that is what it holds.
func Hann(w []float64, n int) []float64 {
	if len(w) == n {
		return w
	}
	w = scratch.Grow(w, n)
	for i := range w {
		w[i] = (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))) / float64(n)
	}
	return w
}
