package pitch

import (
	"math"
	"math/cmplx"
)

// response computes the basis functions and how each block answers to each partial. The basis
// function of a partial is exp(iω·t − α·(t−t0)), t from the middle of the window and t0 the end
// at which it is loudest, so that none exceeds 1.
func (j *joint) response() {
	n, na := j.s.n, len(j.active)
	j.basis = grow(j.basis, na*n)
	j.kernel, j.mirror = grow(j.kernel, na*na), grow(j.mirror, na*na)
	j.phasorsA, j.phasorsB = grow(j.phasorsA, 4*na), grow(j.phasorsB, 4*na)
	j.centre, j.width, j.mass, j.before = grow(j.centre, na), grow(j.width, na), grow(j.mass, na), grow(j.before, na)
	length := float64(j.s.length)
	dt := length / j.s.fs
	j.ratio, j.power = grow(j.ratio, na), grow(j.power, na)
	chord := 0.0
	if n > 1 {
		chord = (j.s.psi[n-1] - j.s.psi[0]) / (j.s.t[n-1] - j.s.t[0])
	}
	for l, r := range j.active {
		j.before[l] = j.hz(l)
		w := 2 * math.Pi * j.before[l]
		rate := complex(-j.alpha[r], w)
		e := cmplx.Exp(rate*complex(j.s.t[0], 0)) * complex(math.Exp(j.alpha[r]*j.loudest(r)), 0)
		turn := cmplx.Exp(rate * complex(dt, 0))
		j.ratio[l] = turn
		if chord != 0 {
			j.ratio[l] *= cmplx.Rect(1, w*chord*dt)
		}
		j.power[l] = cmplx.Exp(complex(-j.alpha[r]*dt*float64(n), math.Remainder(w*(1+chord)*dt*float64(n), 2*math.Pi)))
		row := j.basis[l*n : (l+1)*n]
		warped := j.s.warpedRow(r)
		var m0, m1, m2 float64
		for i := range row {
			row[i] = e
			e *= turn
			if warped != nil {
				row[i] *= warped[i]
			}
			p := real(row[i])*real(row[i]) + imag(row[i])*imag(row[i])
			m0 += p
			m1 += p * j.s.t[i]
			m2 += p * j.s.t[i] * j.s.t[i]
		}
		j.mass[l] = m0
		j.centre[l] = m1 / m0
		j.width[l] = math.Sqrt(math.Max(m2/m0-j.centre[l]*j.centre[l], 1e-4*j.s.half*j.s.half))
		wn := w / j.s.fs
		j.phasorsA[2*l], j.phasorsA[2*l+1] = cmplx.Rect(1, wn/2), cmplx.Rect(1, wn*length/2)
		j.phasorsB[2*l], j.phasorsB[2*l+1] = cmplx.Rect(1, -j.s.omega[r]/2), cmplx.Rect(1, -j.s.omega[r]*length/2)
	}
	warped := len(j.s.warped) > 0
	if warped {
		j.kernelBy, j.mirrorBy = grow(j.kernelBy, na*na), grow(j.mirrorBy, na*na)
	}
	for l, r := range j.active {
		u := -j.alpha[r] / j.s.fs / 2
		sh, ch := math.Sinh(length*u)/length, math.Cosh(length*u)/length
		a, al := j.phasorsA[2*l], j.phasorsA[2*l+1]
		ac, alc := complex(real(a), -imag(a)), complex(real(al), -imag(al))
		for k := range na {
			b, bl := j.phasorsB[2*k], j.phasorsB[2*k+1]
			j.kernel[k*na+l] = dirichlet(a*b, al*bl, u, sh, ch)
			j.mirror[k*na+l] = dirichlet(ac*b, alc*bl, u, sh, ch)
			if warped {
				j.kernelBy[k*na+l] = dirichletBy(j.kernel[k*na+l], a*b, al*bl)
				j.mirrorBy[k*na+l] = -dirichletBy(j.mirror[k*na+l], ac*b, alc*bl)
			}
		}
	}
}

// loudest returns the time (s from the middle of the window) at which row r is loudest.
func (j *joint) loudest(r int) float64 {
	if j.alpha[r] < 0 {
		return j.s.half
	}
	return -j.s.half
}

// dirichlet returns sinh(L·x)/(L·sinh x) for x = u + iv, given one = e^{iv}, all = e^{iLv},
// sh = sinh(L·u)/L and ch = cosh(L·u)/L: the mean of exp(2x·n) over a block of L samples centred
// on 0. u must be so small that sinh u is u.
func dirichlet(one, all complex128, u, sh, ch float64) complex128 {
	re, im := u*real(one), imag(one)
	norm := re*re + im*im
	if norm < 1e-24 {
		return 1
	}
	a, b := sh*real(all), ch*imag(all)
	return complex((a*re+b*im)/norm, (b*re-a*im)/norm)
}

// dirichletBy returns the derivative of k = dirichlet(one, all, u, sh, ch) by v, to the order of u.
func dirichletBy(k, one, all complex128) float64 {
	if math.Abs(imag(one)) < 1e-9 {
		return 0
	}
	return (real(all) - real(k)*real(one)) / imag(one)
}
