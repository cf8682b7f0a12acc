package stringfit

import "tunerd/internal/scratch"

// equations are the normal equations of the free deviations of all partials, and their solution. Unknowns: the
// changes of the amplitudes of all active partials, then amplitude·(change of rate)·width of each, with time
// counted from the centroid of the partial.
type equations struct {
	matrix  []complex128 // lower triangle; then its Cholesky factor
	rhs     []complex128 // products of basis and remainder; then the solution
	inverse []complex128 // covariance shape of the free rates
	column  []complex128 // work space
}

// ridge keeps nearly dependent columns of the equations harmless: some hundred times the rounding of a double.
const ridge = 1e-13

// project fills the equations where partials overlap. white is the noise power per sample.
func (q *equations) project(m *model, b *basis, rest *remainder, white float64) {
	s, na := b.window, len(b.part)
	size := 2 * na
	q.matrix, q.rhs = scratch.Grow(q.matrix, size*size), scratch.Grow(q.rhs, size)
	// What a warp changes of the leaks is in the remainder in full; in the matrix it matters less.
	b.chords()
	warped := len(s.warped) > 0
	if warped {
		q.remains(m, b, rest, white)
	} else {
		b.answers()
		for k := range b.part {
			q.onto(b, k, s.at(b.part[k].row))
		}
	}
	for k := range na {
		for l := range k {
			p, ok := b.crossed(k, l)
			if !ok {
				p = b.products(k, l)
			}
			q.place(m, b, k, l, p, !warped)
		}
		q.place(m, b, k, k, b.products(k, k), !warped)
	}
}

// remains takes the remainder and fills rhs with the products of basis and remainder.
func (q *equations) remains(m *model, b *basis, rest *remainder, white float64) {
	rest.refresh(m, b, white)
	n := b.window.n
	q.rhs = scratch.Grow(q.rhs, 2*len(b.part))
	for k := range b.part {
		q.onto(b, k, rest.left[k*n:(k+1)*n])
	}
}

// onto sets rhs to the products of the basis of active partial k and of its rate with the blocks z.
func (q *equations) onto(b *basis, k int, z []complex128) {
	t, p := b.window.t, &b.part[k]
	var d0, d1 complex128
	for i, e := range b.at(k) {
		v := conj(e) * z[i]
		d0 += v
		d1 += v * complex(t[i], 0)
	}
	q.rhs[k] = d0
	q.rhs[len(b.part)+k] = (d1 - complex(p.centre, 0)*d0) / complex(p.width, 0)
}

// place enters the products of partials k ≥ l into matrix and, unless rhs is of the remainder already, takes what the
// present model explains out of it.
func (q *equations) place(m *model, b *basis, k, l int, p pair, explained bool) {
	s0, s1, s2, m0, m1 := p.s0, p.s1, p.s2, p.m0, p.m1
	na := len(b.part)
	size := 2 * na
	pk, pl := &b.part[k], &b.part[l]
	fkl, flk := b.kernel[k*na+l], b.kernel[l*na+k]
	d := complex((real(fkl)+real(flk))/2/2, 0) // both halves of a real amplitude
	ck, cl := complex(pk.centre, 0), complex(pl.centre, 0)
	hk, hl := complex(pk.width, 0), complex(pl.width, 0)
	tk := (s1 - ck*s0) / hk // Σ τ_k·ē·f
	tl := (s1 - cl*s0) / hl // Σ τ_l·ē·f
	q.matrix[k*size+l] = d * s0
	q.matrix[(na+k)*size+l] = d * tk
	q.matrix[(na+l)*size+k] = d * conj(tl)
	q.matrix[(na+k)*size+na+l] = d * (s2 - (ck+cl)*s1 + ck*cl*s0) / (hk * hl)

	if !explained {
		return
	}
	ak, al := 0.5*m.row[pk.row].c, 0.5*m.row[pl.row].c
	mk := b.mirror[k*na+l] * conj(al)
	q.rhs[k] -= fkl*al*s0 + mk*m0
	q.rhs[na+k] -= fkl*al*tk + mk*(m1-ck*m0)/hk
	if k != l {
		ml := b.mirror[l*na+k] * conj(ak)
		q.rhs[l] -= flk*ak*conj(s0) + ml*m0
		q.rhs[na+l] -= flk*ak*conj(tl) + ml*(m1-cl*m0)/hl
	}
}

// factor replaces the matrix by its Cholesky factor.
func (q *equations) factor(b *basis) { factorHermitian(q.matrix, 2*len(b.part), ridge) }

// solve replaces rhs by the solution of the factorised equations.
func (q *equations) solve(b *basis) { solveHermitian(q.matrix, 2*len(b.part), q.rhs) }

// invert sets the covariance shape of the free rates.
func (q *equations) invert(b *basis) {
	na := len(b.part)
	q.inverse, q.column = scratch.Grow(q.inverse, na*na), scratch.Grow(q.column, na*na)
	invertTail(q.matrix, 2*na, na, q.inverse, q.column)
}

// startAmplitudes solves for the amplitudes alone, for partials that have none yet. The leading block of the factor is
// the factor of the leading block.
func (q *equations) startAmplitudes(m *model, b *basis) {
	na := len(b.part)
	q.inverse = scratch.Grow(q.inverse, na*na)
	for k := range na {
		copy(q.inverse[k*na:k*na+k+1], q.matrix[k*2*na:k*2*na+k+1])
	}
	solveHermitian(q.inverse, na, q.rhs[:na])
	for k := range b.part {
		m.start(&b.part[k], q.rhs[k])
	}
}

// explained returns by how much the energy of the window exceeds that of what the model with its
// present amplitudes leaves of it; rhs must hold the products of basis and remainder.
func (q *equations) explained(m *model, b *basis) float64 {
	s := b.window
	var sum float64
	for k := range b.part {
		row := b.part[k].row
		z := s.at(row)
		var d complex128
		for i, e := range b.at(k) {
			d += conj(e) * z[i]
		}
		// Energy is xᵀx − 2xᵀy + yᵀy; d is the product with x, rhs that with x − y.
		sum += real(conj(m.row[row].c) * (d + q.rhs[k]))
	}
	return sum * float64(s.length)
}
