package stringfit

import (
	"math"

	"tunerd/internal/scratch"
)

// project fills matrix (lower triangle) and rhs: the normal equations of the free deviations.
// Unknowns: the changes of C of all partials, then C·(change of rate)·width, with time counted
// from the centroid of the partial.
func (j *joint) project() {
	n, na := j.s.n, len(j.active)
	size := 2 * na
	j.matrix, j.rhs = scratch.Grow(j.matrix, size*size), scratch.Grow(j.rhs, size)
	// What a warp changes of the leaks is in the remainder in full; in the matrix it matters less.
	j.chords()
	if len(j.s.warped) > 0 {
		j.remains()
	} else {
		j.answers()
		for k, r := range j.active {
			j.onto(k, j.s.at(r))
		}
	}
	for k := range na {
		ek := j.basis[k*n : (k+1)*n]
		for l := range k {
			p, ok := j.crossed(k, l)
			if !ok {
				p = products(ek, j.basis[l*n:(l+1)*n], j.s.t)
			}
			j.place(k, l, p)
		}
		j.place(k, k, products(ek, ek, j.s.t))
	}
}

// remains takes the remainder and fills rhs with the products of basis and remainder.
func (j *joint) remains() {
	n, na := j.s.n, len(j.active)
	if j.stale {
		j.subtractOtherPartials(false)
	}
	j.remainder()
	j.rhs = scratch.Grow(j.rhs, 2*na)
	for k := range na {
		j.onto(k, j.left[k*n:(k+1)*n])
	}
}

// onto sets rhs to the products of the basis of active partial k and of its rate with the blocks z.
func (j *joint) onto(k int, z []complex128) {
	n, na := j.s.n, len(j.active)
	var d0, d1 complex128
	for i, e := range j.basis[k*n : (k+1)*n] {
		v := conj(e) * z[i]
		d0 += v
		d1 += v * complex(j.s.t[i], 0)
	}
	j.rhs[k] = d0
	j.rhs[na+k] = (d1 - complex(j.centre[k], 0)*d0) / complex(j.width[k], 0)
}

// A pair holds the products of two basis functions e and f: s0, s1, s2 are Σ t^p·ē·f for p = 0, 1,
// 2; m0, m1 and m2 are Σ t^p·ē·f̄. The closed form leaves out m2.
type pair struct{ s0, s1, s2, m0, m1, m2 complex128 }

// crossed returns the products of two different partials in closed form, as sums of geometric
// series. A warp of time enters by its chord from end to end: such sums come from the ends of the
// window alone, so that what lies between changes little of what is small already. It reports
// false where the series is nearly constant and the closed form would lose its digits.
func (j *joint) crossed(k, l int) (p pair, ok bool) {
	n := j.s.n
	ratio := conj(j.ratio[k]) * j.ratio[l]
	mirrored := conj(j.ratio[k] * j.ratio[l])
	if n < 4 || far(ratio)*float64(n) < 3 || far(mirrored)*float64(n) < 3 {
		return pair{}, false
	}
	t0 := complex(j.s.t[0], 0)
	dt := complex(j.s.t[1]-j.s.t[0], 0)
	begin := conj(j.basis[k*n]) * j.basis[l*n]
	g0, g1, g2 := geometric(ratio, conj(j.power[k])*j.power[l], float64(n))
	p.s0 = begin * g0
	p.s1 = begin * (t0*g0 + dt*g1)
	p.s2 = begin * (t0*t0*g0 + 2*t0*dt*g1 + dt*dt*g2)
	begin = conj(j.basis[k*n] * j.basis[l*n])
	g0, g1, _ = geometric(mirrored, conj(j.power[k]*j.power[l]), float64(n))
	p.m0 = begin * g0
	p.m1 = begin * (t0*g0 + dt*g1)
	return p, true
}

// far returns about how far r is from 1.
func far(r complex128) float64 { return math.Abs(1-real(r)) + math.Abs(imag(r)) }

// geometric returns Σ b^p·r^b over b = 0..n−1 for p = 0, 1, 2, given rn = r^n; r must not be near 1.
func geometric(r, rn complex128, n float64) (g0, g1, g2 complex128) {
	d := 1 - r
	norm := real(d)*real(d) + imag(d)*imag(d)
	q := complex(real(d)/norm, -imag(d)/norm) // 1/(1−r)
	rq := r * q
	nc := complex(n, 0)
	g0 = (1 - rn) * q
	g1 = rq*g0 - nc*rn*q
	// Each sum is r·d/dr of the one before.
	g2 = rq*(g0+g1+rq*g0) - nc*rn*q*(nc+rq)
	return g0, g1, g2
}

func conj(c complex128) complex128 { return complex(real(c), -imag(c)) }

// products returns the products of e and f by summing them.
func products(e, f []complex128, times []float64) pair {
	f, times = f[:len(e)], times[:len(e)]
	var p pair
	for i, a := range e {
		// ē·f and ē·f̄ share their four real products.
		rr, ii := real(a)*real(f[i]), imag(a)*imag(f[i])
		ri, ir := real(a)*imag(f[i]), imag(a)*real(f[i])
		t := times[i]
		sr, si, mr, mi := rr+ii, ri-ir, rr-ii, -ri-ir
		p.s0 += complex(sr, si)
		p.m0 += complex(mr, mi)
		sr, si = sr*t, si*t
		p.s1 += complex(sr, si)
		mr, mi = mr*t, mi*t
		p.m1 += complex(mr, mi)
		p.s2 += complex(sr*t, si*t)
		p.m2 += complex(mr*t, mi*t)
	}
	return p
}

// place enters the products of partials k ≥ l into matrix and takes what the present model
// explains out of rhs.
func (j *joint) place(k, l int, p pair) {
	s0, s1, s2, m0, m1 := p.s0, p.s1, p.s2, p.m0, p.m1
	na := len(j.active)
	size := 2 * na
	fkl, flk := j.kernel[k*na+l], j.kernel[l*na+k]
	d := complex(0.25*(real(fkl)+real(flk)), 0)
	ck, cl := complex(j.centre[k], 0), complex(j.centre[l], 0)
	hk, hl := complex(j.width[k], 0), complex(j.width[l], 0)
	tk := (s1 - ck*s0) / hk // Σ τ_k·ē·f
	tl := (s1 - cl*s0) / hl // Σ τ_l·ē·f
	j.matrix[k*size+l] = d * s0
	j.matrix[(na+k)*size+l] = d * tk
	j.matrix[(na+l)*size+k] = d * conj(tl)
	j.matrix[(na+k)*size+na+l] = d * (s2 - (ck+cl)*s1 + ck*cl*s0) / (hk * hl)

	if len(j.s.warped) > 0 {
		return
	}
	ak, al := 0.5*j.c[j.active[k]], 0.5*j.c[j.active[l]]
	mk := j.mirror[k*na+l] * conj(al)
	j.rhs[k] -= fkl*al*s0 + mk*m0
	j.rhs[na+k] -= fkl*al*tk + mk*(m1-ck*m0)/hk
	if k != l {
		ml := j.mirror[l*na+k] * conj(ak)
		j.rhs[l] -= flk*ak*conj(s0) + ml*m0
		j.rhs[na+l] -= flk*ak*conj(tl) + ml*(m1-cl*m0)/hl
	}
}
