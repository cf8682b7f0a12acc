package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
)

// waves computes the basis functions, where in time their energy lies, and how the blocks of each
// partial answer to itself. The basis function of a partial is exp(iω·t − α·(t−t0)), t from the
// middle of the window and t0 the end at which it is loudest, so that none exceeds 1.
func (j *joint) waves() {
	n, na := j.s.n, len(j.active)
	j.basis = scratch.Grow(j.basis, na*n)
	j.kernel, j.mirror = scratch.Grow(j.kernel, na*na), scratch.Grow(j.mirror, na*na)
	j.spins, j.fades = scratch.Grow(j.spins, na), scratch.Grow(j.fades, na)
	j.centre, j.width, j.mass, j.before = scratch.Grow(j.centre, na), scratch.Grow(j.width, na), scratch.Grow(j.mass, na), scratch.Grow(j.before, na)
	length := float64(j.s.length)
	dt := length / j.s.fs
	t := j.s.t[:n]
	for l, r := range j.active {
		j.before[l] = j.hz(l)
		w := 2 * math.Pi * j.before[l]
		wn := w / j.s.fs
		a := spin{cmplx.Rect(1, wn/2), cmplx.Rect(1, wn*length/2)}
		j.spins[l], j.fades[l] = a, fading(-j.alpha[r]/j.s.fs/2, length)
		j.kernel[l*na+l], j.mirror[l*na+l] = j.response(l, l)

		fade := math.Exp(-j.alpha[r] * dt)
		e := cmplx.Rect(1, w*t[0]) * complex(math.Exp(j.alpha[r]*(j.loudest(r)-t[0])), 0)
		turn := a.all * a.all * complex(fade, 0)
		row := j.basis[l*n : (l+1)*n][:len(t)]
		for i := range row {
			row[i] = e
			e *= turn
		}
		if warped := j.s.warpedRow(r); warped != nil {
			warped = warped[:len(row)]
			for i, v := range warped {
				row[i] *= v
			}
		}
		var m0, m1, m2 float64
		for i, v := range row {
			p := Power(v)
			m0 += p
			m1 += p * t[i]
			m2 += p * t[i] * t[i]
		}
		j.mass[l] = m0
		j.centre[l] = m1 / m0
		j.width[l] = math.Sqrt(max(m2/m0-j.centre[l]*j.centre[l], 1e-4*j.s.half*j.s.half))
	}
}

// answers computes how the blocks of each partial answer to every other.
func (j *joint) answers() {
	na := len(j.active)
	for l := range na {
		for k := range na {
			if k != l {
				j.kernel[k*na+l], j.mirror[k*na+l] = j.response(k, l)
			}
		}
	}
}

// A reference turns back what the blocks of a row are looked at by.
type reference struct {
	spin
	rejoined bool       // the sub-blocks were demodulated at another frequency than they were joined at
	own      spin       // that frequency, over a sub-block
	sub      complex128 // e^{iMv} of the reference itself, M samples in a sub-block
}

// lookAt sets the references of the active rows.
func (j *joint) lookAt() {
	j.references = scratch.Grow(j.references, len(j.active))
	m := float64(j.s.sub)
	for k, r := range j.active {
		v := -j.s.omega[r] / 2
		ref := reference{spin: spin{cmplx.Rect(1, v), cmplx.Rect(1, v*float64(j.s.length))}}
		if own := -j.s.banked[r] / 2; own != v {
			ref.rejoined = true
			ref.own = spin{cmplx.Rect(1, own), cmplx.Rect(1, own*m)}
			ref.sub = cmplx.Rect(1, v*m)
		}
		j.references[k] = ref
	}
}

// response returns how the blocks of active partial k answer to active partial l, and to its negative
// frequency. Sub-blocks that were joined at another frequency than they were demodulated at let through what
// would cancel in a block: as much as a sub-block does of what turns by a whole number of turns in one.
func (j *joint) response(k, l int) (kernel, mirror complex128) {
	a, b, f := j.spins[l], &j.references[k], j.fades[l]
	if !b.rejoined {
		return dirichlet(a.one*b.one, a.all*b.all, f), dirichlet(conj(a.one)*b.one, conj(a.all)*b.all, f)
	}
	m := float64(j.s.sub)
	sub := cmplx.Rect(1, math.Pi*j.before[l]/j.s.fs*m)
	within, across := fading(f.u, m), fading(f.u*m, float64(j.s.length)/m)
	return dirichlet(a.one*b.own.one, sub*b.own.all, within) * dirichlet(sub*b.sub, a.all*b.all, across),
		dirichlet(conj(a.one)*b.own.one, conj(sub)*b.own.all, within) * dirichlet(conj(sub)*b.sub, conj(a.all)*b.all, across)
}

// chords computes the turn of each basis function from block to block, along the chord of the warp,
// for the closed forms of [joint.crossed].
func (j *joint) chords() {
	n, na := j.s.n, len(j.active)
	j.ratio, j.power = scratch.Grow(j.ratio, na), scratch.Grow(j.power, na)
	chord := 0.0
	if n > 1 {
		chord = (j.s.psi[n-1] - j.s.psi[0]) / (j.s.t[n-1] - j.s.t[0])
	}
	dt := float64(j.s.length) / j.s.fs
	for l := range j.active {
		w := 2 * math.Pi * j.before[l] * (1 + chord) * dt
		fade := -2 * j.fades[l].u * float64(j.s.length) // that of the basis: decays may have been forgotten since
		j.ratio[l] = cmplx.Rect(math.Exp(-fade), w)
		j.power[l] = cmplx.Rect(math.Exp(-fade*float64(n)), math.Remainder(w*float64(n), 2*math.Pi))
	}
}

// loudest returns the time (s from the middle of the window) at which row r is loudest.
func (j *joint) loudest(r int) float64 {
	if j.alpha[r] < 0 {
		return j.s.half
	}
	return -j.s.half
}

// A spin holds e^{iv} and e^{iLv} for half the phase v that something turns by in a sample, and L
// samples in a block.
type spin struct{ one, all complex128 }

// A fade says how a partial dies down within a block of L samples: u is half of what it loses in a
// sample (nepers, negative when it decays), sh = sinh(L·u)/L and ch = cosh(L·u)/L.
type fade struct{ u, sh, ch float64 }

// fading returns the fade for u and blocks of length samples; |length·u| must be below 1.
func fading(u, length float64) fade {
	x := length * u
	q := x * x
	// Taylor series; the terms left out are below 1e-8.
	sh := x * (1 + q/6*(1+q/20*(1+q/42*(1+q/72))))
	ch := 1 + q/2*(1+q/12*(1+q/30*(1+q/56*(1+q/90))))
	return fade{u, sh / length, ch / length}
}

// dirichlet returns sinh(L·x)/(L·sinh x) for x = u + iv, given one = e^{iv}, all = e^{iLv}: the mean
// of exp(2x·n) over a block of L samples centred on 0. u must be so small that sinh u is u.
func dirichlet(one, all complex128, f fade) complex128 {
	re, im := f.u*real(one), imag(one)
	norm := re*re + im*im
	if norm < 1e-24 {
		return 1
	}
	a, b := f.sh*real(all), f.ch*imag(all)
	norm = 1 / norm
	return complex((a*re+b*im)*norm, (b*re-a*im)*norm)
}

// dirichletBy returns the derivative of k = dirichlet(one, all, fade) by v, to the order of u.
func dirichletBy(k, one, all complex128) float64 {
	if math.Abs(imag(one)) < 1e-9 {
		return 0
	}
	return (real(all) - real(k)*real(one)) / imag(one)
}
