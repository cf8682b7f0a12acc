package stringfit

import "tunerd/internal/scratch"

// Partials that lie many bins of the window apart hardly disturb each other: their cross terms in
// the normal equations are below 1/(π·bins). Such a window is solved partial by partial, with
// what leaks from one partial to another taken out of the remainder in full. Leaving the cross
// terms out of the matrix makes each step less exact by that part, not the fit it comes to.

// separable reports whether the partials lie that far apart: separateBins bins (of one over the window's length), or
// separateLive while a note sounds, when a quarter more than the least error of a short window may be had for
// a fifth of the work.
func (m *model) separable() bool {
	bins := m.bins()
	return bins > separateBins || m.live && bins > separateLive
}

// stepSeparate solves for the free deviations partial by partial. What leaks from partial to partial is taken as it was
// when they last moved by much.
func (j *joint) stepSeparate() {
	m, b, q := &j.model, &j.basis, &j.equations
	if m.fresh(b.part) {
		j.rest.isolate(m, b, j.white, m.live && farLeakage)
		j.rest.subtractOwn(m, b)
		q.correlate(m, b, &j.rest)
		for k := range b.part {
			m.start(&b.part[k], q.rhs[k]/complex(b.gain(k), 0))
		}
		j.rest.stale = true
	}
	if j.rest.stale {
		j.rest.isolate(m, b, j.white, m.live && farLeakage)
	}
	j.rest.subtractOwn(m, b)
	explained := q.correlate(m, b, &j.rest)
	na := len(b.part)
	for k := range na {
		g := b.gain(k)
		explained += (Power(q.rhs[k]) + Power(q.rhs[na+k])) / g * float64(b.window.length)
		q.rhs[k] /= complex(g, 0)
		q.rhs[na+k] /= complex(g, 0)
	}
	j.setNoise(explained)
	q.invertSeparate(b)
	j.law.take(m, b, q, true)
}

// finalSeparate solves once more for the rates alone, with the noise found around each partial.
func (j *joint) finalSeparate() {
	m, b, q := &j.model, &j.basis, &j.equations
	j.signal = q.correlate(m, b, &j.rest)
	na := len(b.part)
	for k := range na {
		q.rhs[na+k] /= complex(b.gain(k), 0)
	}
	q.invertSeparate(b)
	j.law.take(m, b, q, true)
}

// correlate fills rhs with the products of remainder and basis and returns by how much the energy
// of the window exceeds that of the remainder.
func (q *equations) correlate(m *model, b *basis, rest *remainder) float64 {
	s, n, na := b.window, b.window.n, len(b.part)
	q.rhs = scratch.Grow(q.rhs, 2*na)
	t := s.t[:n]
	var sum float64
	for k := range b.part {
		p := &b.part[k]
		ek := b.at(k)[:len(t)]
		left := rest.left[k*n : (k+1)*n][:len(t)]
		z := s.at(p.row)[:len(t)]
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
		q.rhs[k] = complex(d0r, d0i)
		q.rhs[na+k] = complex((d1r-p.centre*d0r)/p.width, (d1i-p.centre*d0i)/p.width)
		// Energy is xᵀx − 2xᵀy + yᵀy; the first product is that with x, the other with x − y.
		c := m.row[p.row].c
		sum += real(c)*(br+d0r) + imag(c)*(bi+d0i)
	}
	return sum * float64(s.length)
}

// invertSeparate sets the covariance shape of the free rates: no two partials share any.
func (q *equations) invertSeparate(b *basis) {
	na := len(b.part)
	q.inverse = scratch.Grow(q.inverse, na*na)
	clear(q.inverse)
	for k := range na {
		q.inverse[k*na+k] = complex(1/b.gain(k), 0)
	}
}
