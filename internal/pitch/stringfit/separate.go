package stringfit

import (
	"math"

	"tunerd/internal/scratch"
)

// Partials that lie many bins of the window apart hardly disturb each other: their cross terms in
// the normal equations are below 1/(π·bins). Such a window is solved partial by partial, with
// what leaks from one partial to another taken out of the remainder in full. Leaving the cross
// terms out of the matrix makes each step less exact by that part, not the fit it comes to.

// separateBins is how many bins (of one over the window's length) partials must lie apart; separateLive is
// the same while a note sounds, when a quarter more than the least error of a short window may be had for
// a fifth of the work.
const (
	separateBins = 8
	separateLive = 5
)

// separable reports whether the active partials lie that far apart.
func (j *joint) separable() bool {
	bins := 2 * j.s.half * j.f1
	return bins > separateBins || j.live && bins > separateLive
}

// separated is [joint.project] and [joint.free] for separable partials. It takes the remainder
// from [joint.remainder], with what leaks from partial to partial as it was when they last moved by
// much.
func (j *joint) separated() {
	if j.fresh() {
		j.subtractOtherPartials(j.live)
		j.remainder()
		j.correlate()
		for k, r := range j.active {
			j.c[r] += j.rhs[k] / complex(j.gain(k), 0)
			if j.c[r] == 0 {
				j.c[r] = complex(1e-30, 0)
			}
		}
		j.stale = true
	}
	if j.stale {
		j.subtractOtherPartials(j.live)
	}
	j.remainder()
	explained := j.correlate()
	na := len(j.active)
	for k := range na {
		g := j.gain(k)
		explained += (Power(j.rhs[k]) + Power(j.rhs[na+k])) / g * float64(j.s.length)
		j.rhs[k] /= complex(g, 0)
		j.rhs[na+k] /= complex(g, 0)
	}
	j.noise(explained)
	j.spreadless()
}

// gain returns what an amplitude of active partial k adds to its product with its own basis. Time
// counted from the centroid in units of the width makes that the same for the rate.
func (j *joint) gain(k int) float64 {
	return 0.5 * real(j.kernel[k*len(j.active)+k]) * j.mass[k]
}

// fresh reports whether some active partial has no amplitude yet.
func (j *joint) fresh() bool {
	for _, r := range j.active {
		if j.c[r] == 0 {
			return true
		}
	}
	return false
}

// correlate fills rhs with the products of remainder and basis and returns by how much the energy
// of the window exceeds that of the remainder.
func (j *joint) correlate() float64 {
	n, na := j.s.n, len(j.active)
	j.rhs = scratch.Grow(j.rhs, 2*na)
	t := j.s.t[:n]
	var sum float64
	for k, r := range j.active {
		ek := j.basis[k*n : (k+1)*n][:len(t)]
		left := j.left[k*n : (k+1)*n][:len(t)]
		z := j.s.at(r)[:len(t)]
		var d0r, d0i, d1r, d1i, br, bi float64
		for i, e := range ek {
			x, y := real(e), imag(e)
			vr := x*real(left[i]) + y*imag(left[i])
			vi := x*imag(left[i]) - y*real(left[i])
			d0r += vr
			d0i += vi
			d1r += vr * t[i]
			d1i += vi * t[i]
			br += x*real(z[i]) + y*imag(z[i])
			bi += x*imag(z[i]) - y*real(z[i])
		}
		c := j.centre[k]
		j.rhs[k] = complex(d0r, d0i)
		j.rhs[na+k] = complex((d1r-c*d0r)/j.width[k], (d1i-c*d0i)/j.width[k])
		// Energy is xᵀx − 2xᵀy + yᵀy; the first product is that with x, the other with x − y.
		sum += real(j.c[r])*(br+d0r) + imag(j.c[r])*(bi+d0i)
	}
	return sum * float64(j.s.length)
}

// spreadless sets the covariance shape of the free rates: no two partials share any.
func (j *joint) spreadless() {
	na := len(j.active)
	j.inverse = scratch.Grow(j.inverse, na*na)
	clear(j.inverse)
	for k := range na {
		j.inverse[k*na+k] = complex(1/j.gain(k), 0)
	}
	j.deviations()
}

// faint is the energy that leaks from one partial into the blocks of another, as a part of the noise
// there, up to which it is not worth taking out.
const faint = 0.1

// subtractOtherPartials fills isolated with what the other partials of the model leave of the blocks of each, and kernel
// and mirror beside their diagonals. With briefly, only what disturbs the products of the blocks with the
// basis is taken out: they leave little of what leaks from a partial many bins away.
func (j *joint) subtractOtherPartials(briefly bool) {
	n, na := j.s.n, len(j.active)
	j.stale = false
	j.isolated, j.basisRate = scratch.Grow(j.isolated, na*n), scratch.Grow(j.basisRate, n)
	for k, r := range j.active {
		copy(j.isolated[k*n:(k+1)*n], j.s.at(r))
	}
	fastest := 0.0
	if len(j.s.warped) > 0 {
		for _, v := range j.s.rate {
			fastest = max(fastest, math.Abs(v))
		}
	}
	for l, r := range j.active {
		c := 0.5 * j.c[r]
		e := j.basis[l*n : (l+1)*n]
		for i := range j.basisRate {
			j.basisRate[i] = complex(j.s.rate[i], 0) * e[i]
		}
		a, fade := j.spins[l], j.fades[l]
		w := 2 * math.Pi * j.before[l] / j.s.fs
		limit := faint * j.white / (Power(c) * float64(j.s.samples()))
		bend := 0.25 * w * w * fastest * fastest
		bins := 0.0
		if briefly {
			bins = math.Pi / 2 * 2 * j.s.half * j.f1 // the half is for weights that grow to the ends
		}
		for k := range na {
			if k == l {
				continue
			}
			b := &j.references[k]
			far := bins * float64(j.number[k]-j.number[l])
			if far*far*limit > 1 && !b.rejoined {
				continue
			}
			f, m := dirichlet(a.one*b.one, a.all*b.all, fade), dirichlet(conj(a.one)*b.one, conj(a.all)*b.all, fade)
			if b.rejoined {
				f, m = j.response(k, l)
			}
			j.kernel[k*na+l], j.mirror[k*na+l] = f, m
			if c == 0 {
				continue
			}
			if Power(f)+Power(m) > limit {
				subtract(j.isolated[k*n:(k+1)*n], e, f*c, m*conj(c))
			}
			if fastest > 0 {
				f := dirichletBy(f, a.one*b.one, a.all*b.all)
				m := -dirichletBy(m, conj(a.one)*b.one, conj(a.all)*b.all)
				if (f*f+m*m)*bend > limit {
					j.subtractWarpedLeakage(k, w, complex(0.5*f, 0)*c, complex(0.5*m, 0)*conj(c))
				}
			}
		}
	}
}

// subtractWarpedLeakage takes out of row k of isolated what a warp of time changes of the leak of a partial of w
// rad/sample: for an instant, the partial sounds higher by the part that the warp runs fast, and where
// the reference of row k follows the warp, it runs as much faster itself.
func (j *joint) subtractWarpedLeakage(k int, w float64, f, m complex128) {
	n, r := j.s.n, j.active[k]
	alone, own := j.isolated[k*n:(k+1)*n], j.s.omega[r]
	follows := j.s.follows[r*n : (r+1)*n]
	for from := 0; from < n; {
		to := from + 1
		for to < n && follows[to] == follows[from] {
			to++
		}
		up, down := w, w
		if follows[from] {
			up, down = w-own, w+own
		}
		subtract(alone[from:to], j.basisRate[from:to], complex(up, 0)*f, complex(down, 0)*m)
		from = to
	}
}

// remainder fills left with what the model leaves of each row, given isolated.
func (j *joint) remainder() {
	n, na := j.s.n, len(j.active)
	j.left = scratch.Grow(j.left, na*n)
	copy(j.left, j.isolated[:na*n])
	for k, r := range j.active {
		c := 0.5 * j.c[r]
		subtract(j.left[k*n:(k+1)*n], j.basis[k*n:(k+1)*n], j.kernel[k*na+k]*c, j.mirror[k*na+k]*conj(c))
	}
}

// subtract takes f·e + m·ē from z.
func subtract(z, e []complex128, f, m complex128) {
	// With e = x + iy that is (f+m)·x + i(f−m)·y.
	ar, ai := real(f)+real(m), imag(f)+imag(m)
	br, bi := imag(m)-imag(f), real(f)-real(m)
	z = z[:len(e)]
	for i, v := range e {
		x, y := real(v), imag(v)
		z[i] -= complex(ar*x+br*y, ai*x+bi*y)
	}
}

// Power returns |c|².
func Power(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
