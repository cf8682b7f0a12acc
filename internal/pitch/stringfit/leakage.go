package stringfit

import (
	"math"

	"tunerd/internal/scratch"
)

// A remainder is what a model leaves of the blocks of each partial, given what leaks into them from the others.
type remainder struct {
	isolated  []complex128 // partials × blocks: what the other partials leave
	left      []complex128 // partials × blocks: what the whole model leaves
	basisRate []complex128 // by block: a basis function times the part by which the warp runs fast
	stale     bool         // isolated has to be computed anew: partials have moved
}

// faint is the energy that leaks from one partial into the blocks of another, as a part of the noise
// there, up to which it is not worth taking out.
const faint = 0.1

// refresh computes what the model leaves, and before that the leakage if that is stale. white is the noise power per
// sample.
func (r *remainder) refresh(m *model, b *basis, white float64) {
	if r.stale {
		r.isolate(m, b, white, false)
	}
	r.subtractOwn(m, b)
}

// subtractOwn fills left with what the model leaves of each row, given isolated.
func (r *remainder) subtractOwn(m *model, b *basis) {
	n, na := b.window.n, len(b.part)
	r.left = scratch.Grow(r.left, na*n)
	copy(r.left, r.isolated[:na*n])
	for k := range b.part {
		c := 0.5 * m.row[b.part[k].row].c
		subtract(r.left[k*n:(k+1)*n], b.at(k), b.kernel[k*na+k]*c, b.mirror[k*na+k]*conj(c))
	}
}

// isolate fills isolated with what the other partials of the model leave of the blocks of each, and kernel and mirror
// of b beside their diagonals. With briefly, only what disturbs the products of the blocks with the basis is taken
// out: they leave little of what leaks from a partial many bins away.
func (r *remainder) isolate(m *model, b *basis, white float64, briefly bool) {
	s := b.window
	n, na := s.n, len(b.part)
	r.stale = false
	r.isolated, r.basisRate = scratch.Grow(r.isolated, na*n), scratch.Grow(r.basisRate, n)
	for k := range b.part {
		copy(r.isolated[k*n:(k+1)*n], s.at(b.part[k].row))
	}
	fastest, bins := s.fastest(), 0.0
	if briefly {
		bins = math.Pi * s.half * m.f1 // π/2 a bin, the half of it for weights that grow to the ends
	}
	for l := range b.part {
		c := 0.5 * m.row[b.part[l].row].c
		r.subtractLeakage(b, l, c, faint*white/(Power(c)*float64(s.samples())), bins, fastest)
	}
}

// subtractLeakage takes out of all other rows of isolated what leaks into them from active partial l of the given half
// amplitude, unless that is less than limit of its energy, and sets the kernel and mirror between them. A partial bins
// away leaks less than 1/bins (0: all are looked at); the warp runs fast by no more than the part fastest.
func (r *remainder) subtractLeakage(b *basis, l int, half complex128, limit, bins, fastest float64) {
	s, from := b.window, &b.part[l]
	n, na := s.n, len(b.part)
	e := b.at(l)
	for i := range r.basisRate {
		r.basisRate[i] = complex(s.rate[i], 0) * e[i]
	}
	w := 2 * math.Pi * from.hz / s.fs
	bend := (w / 2) * (w / 2) * fastest * fastest
	for k := range b.part {
		into := &b.part[k]
		far := bins * float64(into.number-from.number)
		if k == l || far*far*limit > 1 && !into.reference.rejoined {
			continue
		}
		f, m := b.response(k, l)
		b.kernel[k*na+l], b.mirror[k*na+l] = f, m
		if half == 0 {
			continue
		}
		if Power(f)+Power(m) > limit {
			subtract(r.isolated[k*n:(k+1)*n], e, f*half, m*conj(half))
		}
		if warpedLeakage && fastest > 0 {
			byF, byM := b.responseBy(k, l, f, m)
			if (byF*byF+byM*byM)*bend > limit {
				r.subtractWarped(b, k, w, complex(0.5*byF, 0)*half, complex(0.5*byM, 0)*conj(half))
			}
		}
	}
}

// subtractWarped takes out of row k of isolated what a warp of time changes of the leak of a partial of w
// rad/sample: for an instant, the partial sounds higher by the part that the warp runs fast, and where
// the reference of row k follows the warp, it runs as much faster itself.
func (r *remainder) subtractWarped(b *basis, k int, w float64, f, m complex128) {
	s := b.window
	n, row := s.n, b.part[k].row
	isolated, own := r.isolated[k*n:(k+1)*n], s.omega[row]
	follows := s.follows[row*n : (row+1)*n]
	for from := 0; from < n; {
		to := from + 1
		for to < n && follows[to] == follows[from] {
			to++
		}
		up, down := w, w
		if follows[from] {
			up, down = w-own, w+own
		}
		subtract(isolated[from:to], r.basisRate[from:to], complex(up, 0)*f, complex(down, 0)*m)
		from = to
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
