package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A series is a window of a bank, its sub-blocks gathered into fewer, longer blocks: what a fit
// works on. Block j of row r holds the mean over the block of x[n]·exp(−iΩ(n−c)·w(n)), c the
// middle of the block, where the reference follows a given warp of time (see [warp]).
type series struct {
	rows, n int          // partials, blocks
	length  int          // samples in a block
	fs      float64      // sample rate, Hz
	omega   []float64    // [rad/sample] reference of each row
	banked  []float64    // [rad/sample] what the sub-blocks of each row were demodulated at
	sub     int          // samples in a sub-block
	number  []int        // partial number of each row
	z       []complex128 // rows × n
	t       []float64    // [s] middle of each block, from the middle of the window
	psi     []float64    // [s] mean warp of time over each block, less late
	late    float64      // [s] mean warp of time over the window: what is left of it moves a phase little
	warped  []complex128 // rows × n: what the warp makes of the phase of each row; empty without one
	bend    []float64    // [s] warp of time at each sub-block against that of its block
	half    float64      // [s] half the window
	rate    []float64    // by how much the warp runs fast in each block, as a part of 1
	follows []bool       // rows × n: the reference follows the warp within the block
	bow     []float64    // [s] largest of bend in each block
	cos     []float64    // turn of the reference within a block, by sub-block
	sin     []float64
	energy  float64 // Σ x² over the window
	start   int64   // sample index of the window's first sample
}

// at returns row r as a slice of its n blocks.
func (s *series) at(r int) []complex128 { return s.z[r*s.n : (r+1)*s.n] }

// samples returns the number of samples in the window.
func (s *series) samples() int { return s.n * s.length }

// middle returns the sample index of the middle of the window.
func (s *series) middle() float64 { return float64(s.start) + float64(s.samples())/2 }

// fastest returns by how much the warp runs fast or slow at most, as a part of 1.
func (s *series) fastest() float64 {
	fastest := 0.0
	if len(s.warped) > 0 {
		for _, v := range s.rate {
			fastest = max(fastest, math.Abs(v))
		}
	}
	return fastest
}

// A warp describes how the pitch of a whole note moves: all partials run on the warped time
// t + ψ(t), so that the pitch at t is f1·(1 + ψ′(t)). It is the sum of
//
//   - a glide after the onset, depth·exp(−t/tau) cents above the settled pitch, to first order:
//     ψ = −depth·(ln 2/1200)·tau·exp(−t/tau), which goes to 0 as t grows. The error of the first
//     order is (depth·ln 2/1200)²/2: 0.03 cent for 10 cents at the very onset, gone with the glide;
//   - a drift quad·u² + cubic·u³ about a middle, u = t − middle.
//
// The zero warp is a steady pitch.
type warp struct {
	depth, tau  float64 // cents, s
	onset       float64 // sample index
	quad, cubic float64 // 1/s, 1/s²
	middle      float64 // sample index
}

// psi returns ψ at sample index at, in seconds.
func (w warp) psi(at, fs float64) float64 {
	var p float64
	if w.depth != 0 {
		t := max(0, (at-w.onset)/fs)
		p = -w.depth / stiffstring.CentsPerNeper * w.tau * math.Exp(-t/w.tau)
	}
	if w.quad != 0 || w.cubic != 0 {
		u := (at - w.middle) / fs
		p += u * u * (w.quad + w.cubic*u)
	}
	return p
}

// course fills dst with ψ at sample indexes at, at+step, ...
func (w warp) course(dst []float64, at, step, fs float64) {
	clear(dst)
	if w.depth != 0 {
		p := -w.depth / stiffstring.CentsPerNeper * w.tau
		t, dt := (at-w.onset)/fs/w.tau, step/fs/w.tau
		fall := p * math.Exp(-max(0, t))
		per := math.Exp(-dt)
		for i := range dst {
			dst[i] = fall
			if t += dt; t > dt {
				fall *= per
			} else if t > 0 {
				fall = p * math.Exp(-t)
			}
		}
	}
	if w.quad != 0 || w.cubic != 0 {
		u, du := (at-w.middle)/fs, step/fs
		for i := range dst {
			dst[i] += u * u * (w.quad + w.cubic*u)
			u += du
		}
	}
}

// rate returns ψ′ at sample index at.
func (w warp) rate(at, fs float64) float64 {
	const cubed = 3 // d u³ is 3u² du
	var p float64
	if w.depth != 0 {
		t := max(0, (at-w.onset)/fs)
		p = w.depth / stiffstring.CentsPerNeper * math.Exp(-t/w.tau)
	}
	u := (at - w.middle) / fs
	return p + u*(2*w.quad+cubed*w.cubic*u)
}

// steady reports whether the warp is none.
func (w warp) steady() bool { return w.depth == 0 && w.quad == 0 && w.cubic == 0 }

// gather fills s with the sub-blocks [from, to) of b, joined q by q; what is left over at the
// front is not used. omega (rad/sample) is the frequency at which each row is looked at: near that
// of the bank, but the bank may have been tuned to a pitch some cents away, which matters for a
// long block where it does not for a sub-block.
func (s *series) gather(b *Bank, omega []float64, from, to, q int, fs float64, w warp) {
	rows := len(omega)
	n := (to - from) / q
	from = to - n*q
	s.rows, s.n, s.length, s.fs = rows, n, q*b.M, fs
	s.start = b.At(from)
	s.omega = append(s.omega[:0], omega...)
	s.banked, s.sub = append(s.banked[:0], b.Omega[:rows]...), b.M
	s.z, s.t = scratch.Grow(s.z, rows*n), scratch.Grow(s.t, n)
	s.half = float64(n*s.length) / fs / 2
	for j := range n {
		s.t[j] = (float64(j) - float64(n-1)/2) * float64(s.length) / fs
	}
	s.energy = 0
	for _, e := range b.energy[from:to] {
		s.energy += e
	}
	s.bendAlong(w, q)
	for r := range rows {
		s.join(b, r, from, q)
	}
	s.warpPhases(w)
}

// bendAlong sets what the warp w makes of time in the blocks of q sub-blocks, and within them.
func (s *series) bendAlong(w warp, q int) {
	n := s.n
	s.psi, s.rate = scratch.Grow(s.psi, n), scratch.Grow(s.rate, n)
	s.bend, s.bow, s.follows = scratch.Grow(s.bend, n*q), scratch.Grow(s.bow, n), scratch.Grow(s.follows, s.rows*n)
	clear(s.psi)
	clear(s.bow)
	s.late = 0
	for j := range s.rate {
		s.rate[j] = w.rate(float64(s.start)+(float64(j)+0.5)*float64(s.length), s.fs)
	}
	if w.steady() {
		return
	}
	w.course(s.bend, float64(s.start)+0.5*float64(s.sub), float64(s.sub), s.fs)
	for j := range n {
		bend := s.bend[j*q : (j+1)*q]
		var sum, bow float64
		for _, v := range bend {
			sum += v
		}
		mean := sum / float64(q)
		for i := range bend {
			bend[i] -= mean
			bow = max(bow, math.Abs(bend[i]))
		}
		s.psi[j], s.bow[j] = mean, bow
	}
	for _, psi := range s.psi {
		s.late += psi / float64(n)
	}
	for j := range s.psi {
		s.psi[j] -= s.late
	}
}

// warpPhases sets what the warp w makes of the phase of each row, block by block.
func (s *series) warpPhases(w warp) {
	s.warped = s.warped[:0]
	if w.steady() {
		return
	}
	n := s.n
	s.warped = scratch.Grow(s.warped, s.rows*n)
	first := s.warped[:n]
	for j, psi := range s.psi {
		first[j] = unit(s.omega[0] * s.fs * psi)
	}
	// From partial to partial it turns by nearly the same.
	for r := 1; r < s.rows; r++ {
		more := (s.omega[r] - s.omega[r-1] - s.omega[0]) * s.fs
		before, row := s.warped[(r-1)*n:r*n], s.warped[r*n:(r+1)*n]
		for j, psi := range s.psi {
			row[j] = before[j] * first[j] * unit(more*psi)
		}
	}
}

// warpedRow returns what the warp makes of the phase of row r, block by block; nil without a warp. It
// is that of the frequency the row is looked at: the few cents that a fit moves it do not show.
func (s *series) warpedRow(r int) []complex128 {
	if len(s.warped) == 0 {
		return nil
	}
	return s.warped[r*s.n : (r+1)*s.n]
}

// join fills row r: each block is the sum of q sub-blocks turned back by the reference's phase. Up to a phase of
// leastBend the warp within a block is left out: about its mean it is all but odd, so that it takes a sixth of its square
// from the amplitude, 0.04 %, and moves no phase.
func (s *series) join(b *Bank, r, from, q int) {
	dst := s.at(r)
	s.turns(s.omega[r]*float64(b.M), q)
	cos, sin := s.cos[:q], s.sin[:q]
	re, im := b.re[r][from:], b.im[r][from:]
	scale := 1 / float64(s.length)
	speed := s.omega[r] * s.fs
	for j := range dst {
		x, y := re[j*q:][:len(cos)], im[j*q:][:len(cos)]
		var sumRe, sumIm float64
		s.follows[r*s.n+j] = speed*s.bow[j] > leastBend
		if s.follows[r*s.n+j] {
			bend := s.bend[j*q:][:len(cos)]
			if speed*s.bow[j] < mostBend {
				sumRe, sumIm = turnedAlong(x, y, cos, sin, bend, speed)
			} else {
				for i, c := range cos {
					z := complex(x[i], y[i]) * unit(-speed*bend[i])
					sumRe += real(z)*c + imag(z)*sin[i]
					sumIm += imag(z)*c - real(z)*sin[i]
				}
			}
		} else {
			sumRe, sumIm = turned(x, y, cos, sin)
		}
		dst[j] = complex(sumRe*scale, sumIm*scale)
	}
}

// mostBend is the phase (rad) up to which the series in turnedAlong are good to 2e-6.
const mostBend = 0.5

// Of the Taylor series of cosine and sine.
const (
	factorial2 = 2
	factorial3 = 2 * 3
	factorial4 = 2 * 3 * 4
	factorial5 = 2 * 3 * 4 * 5
	factorial6 = 2 * 3 * 4 * 5 * 6
)

// turnedAlong returns Σ (x+iy)·(cos−i·sin)·exp(−i·speed·bend) for |speed·bend| < mostBend.
func turnedAlong(x, y, cos, sin, bend []float64, speed float64) (re, im float64) {
	x, y, sin, bend = x[:len(cos)], y[:len(cos)], sin[:len(cos)], bend[:len(cos)]
	for i, c := range cos {
		p := speed * bend[i]
		q := p * p
		cosP, sinP := 1-q*(1.0/factorial2-q*(1.0/factorial4-q*(1.0/factorial6))), p*(1-q*(1.0/factorial3-q*(1.0/factorial5)))
		a, b := c*cosP-sin[i]*sinP, c*sinP+sin[i]*cosP // of the sum of both turns
		re += x[i]*a + y[i]*b
		im += y[i]*a - x[i]*b
	}
	return re, im
}

// turned returns Σ (x+iy)·(cos−i·sin), in two sums each that do not wait for each other.
func turned(x, y, cos, sin []float64) (re, im float64) {
	x, y, sin = x[:len(cos)], y[:len(cos)], sin[:len(cos)]
	var re1, im1 float64
	i := 0
	for ; i+1 < len(cos); i += 2 {
		re += x[i]*cos[i] + y[i]*sin[i]
		im += y[i]*cos[i] - x[i]*sin[i]
		re1 += x[i+1]*cos[i+1] + y[i+1]*sin[i+1]
		im1 += y[i+1]*cos[i+1] - x[i+1]*sin[i+1]
	}
	if i < len(cos) {
		re += x[i]*cos[i] + y[i]*sin[i]
		im += y[i]*cos[i] - x[i]*sin[i]
	}
	return re + re1, im + im1
}

// turns fills cos and sin with the phase step·(i − (q−1)/2) of the reference at each of q
// sub-blocks of a block.
func (s *series) turns(step float64, q int) {
	s.cos, s.sin = scratch.Grow(s.cos, q), scratch.Grow(s.sin, q)
	turn, by := cmplx.Rect(1, -step*float64(q-1)/2), cmplx.Rect(1, step)
	for i := range q {
		s.cos[i], s.sin[i] = real(turn), imag(turn)
		turn *= by
	}
}

// unit returns exp(ix), by its series where that is as good.
func unit(x float64) complex128 {
	const small = 0.01 // of x², up to which that is so
	if x2 := x * x; x2 < small {
		return complex(1-x2/2*(1-x2/(factorial4/factorial2)), x*(1-x2/factorial3*(1-x2/(factorial5/factorial3))))
	}
	return cmplx.Rect(1, x)
}
