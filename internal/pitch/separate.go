package pitch

import "math"

// Partials that lie many bins of the window apart hardly disturb each other: their cross terms in
// the normal equations are below 1/(π·bins). Such a window is solved partial by partial, with
// what leaks from one partial to another taken out of the remainder in full. Leaving the cross
// terms out of the matrix makes each step less exact by that part, not the fit it comes to.

// separateBins is how many bins (of one over the window's length) partials must lie apart.
const separateBins = 12

// separable reports whether the active partials lie that far apart.
func (j *joint) separable() bool { return 2*j.s.half*j.f1 > separateBins }

// separated is [joint.project] and [joint.free] for separable partials. It takes the remainder
// from [joint.remainder].
func (j *joint) separated() {
	if j.fresh() {
		j.remainder()
		j.correlate()
		for k, r := range j.active {
			j.c[r] += j.rhs[k] / complex(j.gain(k), 0)
			if j.c[r] == 0 {
				j.c[r] = complex(1e-30, 0)
			}
		}
	}
	j.remainder()
	explained := j.correlate()
	na := len(j.active)
	for k := range na {
		g := j.gain(k)
		explained += (power(j.rhs[k]) + power(j.rhs[na+k])) / g * float64(j.s.length)
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
	j.rhs = grow(j.rhs, 2*na)
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
	j.inverse = grow(j.inverse, na*na)
	clear(j.inverse)
	for k := range na {
		j.inverse[k*na+k] = complex(1/j.gain(k), 0)
	}
	j.deviations()
}

// faint is the energy that leaks from one partial into the blocks of another, as a part of the noise
// there, up to which it is not worth taking out.
const faint = 0.1

// remainder fills left with what the model leaves of each row.
func (j *joint) remainder() {
	n, na := j.s.n, len(j.active)
	j.left = grow(j.left, na*n)
	for k, r := range j.active {
		left := j.left[k*n : (k+1)*n]
		copy(left, j.s.at(r))
		for l, rl := range j.active {
			c := 0.5 * j.c[rl]
			f := j.kernel[k*na+l] * c
			m := j.mirror[k*na+l] * conj(c)
			if (power(f)+power(m))*float64(j.s.samples()) <= faint*j.white {
				continue
			}
			// f·e + m·ē with e = x + iy is (f+m)·x + i(f−m)·y.
			ar, ai := real(f)+real(m), imag(f)+imag(m)
			br, bi := imag(m)-imag(f), real(f)-real(m)
			for i, e := range j.basis[l*n : (l+1)*n][:len(left)] {
				x, y := real(e), imag(e)
				left[i] -= complex(ar*x+br*y, ai*x+bi*y)
			}
		}
	}
	if len(j.s.warped) > 0 {
		j.bent()
	}
}

// bent takes out of left what a warp of time changes of the leaks: for an instant, partial l sounds
// higher by the part that the warp runs fast, and where the reference of row k follows the warp, it
// runs as much faster itself.
func (j *joint) bent() {
	n, na := j.s.n, len(j.active)
	fastest := 0.0
	for _, v := range j.s.rate {
		fastest = math.Max(fastest, math.Abs(v))
	}
	for k, r := range j.active {
		left := j.left[k*n : (k+1)*n]
		follows := j.s.follows[r*n : (r+1)*n][:n]
		for l, rl := range j.active {
			if l == k {
				continue
			}
			c := 0.25 * j.c[rl]
			w, own := 2*math.Pi*j.before[l]/j.s.fs, j.s.omega[r]
			f := complex(j.kernelBy[k*na+l], 0) * c
			m := complex(j.mirrorBy[k*na+l], 0) * conj(c)
			if (power(f)+power(m))*w*w*fastest*fastest*float64(j.s.samples()) <= faint*j.white {
				continue
			}
			e := j.basis[l*n : (l+1)*n][:len(left)]
			for i, v := range j.s.rate {
				up, down := w, w
				if follows[i] {
					up, down = w-own, w+own
				}
				left[i] -= complex(v*up, 0)*f*e[i] + complex(v*down, 0)*m*conj(e[i])
			}
		}
	}
}

// power returns |c|².
func power(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
