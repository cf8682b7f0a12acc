package pitch

import (
	"math"
	"math/cmplx"
)

// A joint is a least-squares fit of one stiff string to a window: all partials at once, each
// with its own complex amplitude C and decay α, their frequencies bound to f1 and B by the
// stiff-string law:
//
//	x(t) = Σ_k Re C_k·exp((−α_k + iω_k)·t) + noise,  ω_k = 2π·partialHz(f1, B, k)
//
// One Gauss–Newton step solves for the free deviations of all partials, leakage between them
// included (a Hermitian system of two complex unknowns a partial), and then fits f1 and B to
// these deviations by generalised least squares with their full covariance. With white noise
// that is the same step as one of the bound model, so the fit reaches the Cramér–Rao bound; but
// the deviations stay visible, so that scatter of real partials about the law can enter σ.
//
// A joint holds its work space and serves one goroutine; fit allocates only while it grows.
type joint struct {
	s      *series
	active []int // rows of s in the model
	number []int // partial number of each active row

	f1, b    float64
	prior    stiffnessPrior
	fixB     bool
	c        []complex128 // amplitude at the middle of the window, by row of s
	alpha    []float64    // [1/s] by row of s
	kernel   []complex128 // active × active: response of block k to partial l
	mirror   []complex128 // the same to the negative frequency of partial l
	basis    []complex128 // active × blocks: exp(s_l·t)
	matrix   []complex128
	rhs      []complex128
	inverse  []complex128 // covariance shape of the free rates
	column   []complex128
	rho      []float64 // noise power in one block of row k
	white    float64   // noise power per sample, from the whole window
	dev      []float64 // [cents] free deviation of each active partial from the law
	devCov   []float64 // [cents²] active × active
	weights  []float64 // Cholesky factor of devCov plus scatter
	slopeB   []float64 // [cents] d(cents of partial)/dB
	work     []float64
	extra    []float64 // [cents²] additional variance of an outlying partial
	scatter  float64   // [cents²] τ², random scatter of partials about the law
	sigma    float64   // [cents] of f1
	sigmaB   float64
	phasorsA []complex128
	phasorsB []complex128
	tau      []float64
}

// decay prior: strings and pipes alike decay by some 1/s; a buried partial must not run away.
const (
	decayMean  = 3.0  // 1/s
	decaySigma = 30.0 // 1/s
)

// begin points the fit at a window, with what is known of f1 (σ in cents) and B.
func (j *joint) begin(s *series, f1, sigmaCents, b, sigmaB float64, prior stiffnessPrior) {
	j.s, j.f1, j.b, j.prior = s, f1, b, prior
	j.sigma, j.sigmaB = sigmaCents, sigmaB
	j.c = grow(j.c, s.rows)
	j.alpha = grow(j.alpha, s.rows)
	for r := range s.rows {
		j.c[r], j.alpha[r] = 0, decayMean
	}
	j.active = j.active[:0]
	j.scatter = 0
	j.tau = grow(j.tau, s.n)
	for i, t := range s.t {
		j.tau[i] = t / s.half
	}
}

// converge runs the staged fit: only partials whose frequency is known well enough to lie in
// the main lobe of the window take part; each stage narrows f1 and B and lets in more. It
// reports whether a fit was reached.
func (j *joint) converge() bool {
	for range 12 {
		grew := j.choose()
		if len(j.active) == 0 {
			return false
		}
		for range 8 {
			step := j.step()
			if debug != nil {
				debug("T=%.3f active %d f1=%.4f B=%.3g sigma=%.4f sigmaB=%.3g step=%.4f white=%.3g", 2*j.s.half, len(j.active), j.f1, j.b, j.sigma, j.sigmaB, step, j.white)
			}
			if math.IsNaN(step) {
				return false
			}
			if math.Abs(step) < 0.1*j.sigma+1e-4 {
				break
			}
		}
		if !grew {
			break
		}
	}
	j.residuals()
	return j.law()
}

// choose sets the active rows and reports whether they became more.
func (j *joint) choose() bool {
	before := len(j.active)
	j.active, j.number = j.active[:0], j.number[:0]
	length := 2 * j.s.half
	for r := range j.s.rows {
		k := j.s.number[r]
		f := partialHz(j.f1, j.b, k)
		if f > 0.46*j.s.fs {
			break
		}
		uf := f * (j.sigma + 0.02) / centsPerNeper
		ub := partialHzByB(j.f1, j.b, k) * j.sigmaB
		if r > 0 && math.Hypot(uf, ub)*length > 0.25 && r >= before {
			break
		}
		j.active = append(j.active, r)
		j.number = append(j.number, k)
	}
	return len(j.active) > before
}

// step makes one Gauss–Newton step and returns the change of f1 in cents.
func (j *joint) step() float64 {
	j.response()
	j.project()
	j.free()
	dc, db, ok := j.bind()
	if !ok {
		return math.NaN()
	}
	limit := centsPerNeper * 0.4 / (2 * j.s.half * partialHz(j.f1, j.b, j.number[len(j.number)-1]))
	dc = math.Max(-limit, math.Min(limit, dc))
	j.f1 *= math.Exp(dc / centsPerNeper)
	j.b = math.Max(-1e-4, math.Min(0.05, j.b+db))
	return dc
}

// response computes the basis functions and how each block answers to each partial.
func (j *joint) response() {
	n, na := j.s.n, len(j.active)
	j.basis = grow(j.basis, na*n)
	j.kernel, j.mirror = grow(j.kernel, na*na), grow(j.mirror, na*na)
	j.phasorsA, j.phasorsB = grow(j.phasorsA, 4*na), grow(j.phasorsB, 4*na)
	length := float64(j.s.length)
	dt := length / j.s.fs
	for l, r := range j.active {
		w := 2 * math.Pi * partialHz(j.f1, j.b, j.number[l])
		rate := complex(-j.alpha[r], w)
		e := cmplx.Exp(rate * complex(j.s.t[0], 0))
		turn := cmplx.Exp(rate * complex(dt, 0))
		row := j.basis[l*n : (l+1)*n]
		for i := range row {
			row[i] = e
			e *= turn
			if j.s.psi[i] != 0 {
				row[i] *= cmplx.Rect(1, w*j.s.psi[i])
			}
		}
		wn := w / j.s.fs
		j.phasorsA[2*l], j.phasorsA[2*l+1] = cmplx.Rect(1, wn/2), cmplx.Rect(1, wn*length/2)
		j.phasorsB[2*l], j.phasorsB[2*l+1] = cmplx.Rect(1, -j.s.omega[r]/2), cmplx.Rect(1, -j.s.omega[r]*length/2)
	}
	for k := range na {
		for l := range na {
			u := -j.alpha[j.active[l]] / j.s.fs / 2
			a, al := j.phasorsA[2*l], j.phasorsA[2*l+1]
			b, bl := j.phasorsB[2*k], j.phasorsB[2*k+1]
			j.kernel[k*na+l] = dirichlet(a*b, al*bl, u, length)
			j.mirror[k*na+l] = dirichlet(cmplx.Conj(a)*b, cmplx.Conj(al)*bl, u, length)
		}
	}
}

// dirichlet returns sinh(L·x)/(L·sinh x) for x = u + iv, given e^{iv} and e^{iLv}: the mean of
// exp(2x·n) over a block of L samples centred on 0.
func dirichlet(one, all complex128, u, length float64) complex128 {
	den := complex(u*real(one), imag(one))
	if math.Abs(real(den))+math.Abs(imag(den)) < 1e-12 {
		return 1
	}
	lu := length * u
	return complex(math.Sinh(lu)*real(all), math.Cosh(lu)*imag(all)) / (den * complex(length, 0))
}

// project fills matrix (lower triangle) and rhs: the normal equations of the free deviations.
// Unknowns: the changes of C of all partials, then C·(change of rate)·half.
func (j *joint) project() {
	n, na := j.s.n, len(j.active)
	size := 2 * na
	j.matrix, j.rhs = grow(j.matrix, size*size), grow(j.rhs, size)
	for k, r := range j.active {
		ek := j.basis[k*n : (k+1)*n]
		z := j.s.at(r)[:n]
		var d0, d1 complex128
		for i, e := range ek {
			v := cmplx.Conj(e) * z[i]
			d0 += v
			d1 += v * complex(j.tau[i], 0)
		}
		j.rhs[k], j.rhs[na+k] = d0, d1
	}
	for k := range na {
		ek := j.basis[k*n : (k+1)*n]
		for l := range k + 1 {
			s0, s1, s2, m0, m1 := products(ek, j.basis[l*n:(l+1)*n], j.tau)
			j.place(k, l, s0, s1, s2, m0, m1)
		}
	}
}

// products returns Σ τ^p·ē·f for p = 0, 1, 2 and Σ τ^p·ē·f̄ for p = 0, 1.
func products(e, f []complex128, tau []float64) (s0, s1, s2, m0, m1 complex128) {
	f, tau = f[:len(e)], tau[:len(e)]
	for i, a := range e {
		// ē·f and ē·f̄ share their four real products.
		rr, ii := real(a)*real(f[i]), imag(a)*imag(f[i])
		ri, ir := real(a)*imag(f[i]), imag(a)*real(f[i])
		t := tau[i]
		sr, si, mr, mi := rr+ii, ri-ir, rr-ii, -ri-ir
		s0 += complex(sr, si)
		m0 += complex(mr, mi)
		sr, si = sr*t, si*t
		s1 += complex(sr, si)
		m1 += complex(mr*t, mi*t)
		s2 += complex(sr*t, si*t)
	}
	return s0, s1, s2, m0, m1
}

// place enters the products of partials k ≥ l into matrix and takes what the present model
// explains out of rhs.
func (j *joint) place(k, l int, s0, s1, s2, m0, m1 complex128) {
	na := len(j.active)
	size := 2 * na
	fkl, flk := j.kernel[k*na+l], j.kernel[l*na+k]
	d := complex(0.25*(real(fkl)+real(flk)), 0)
	j.matrix[k*size+l] = d * s0
	j.matrix[(na+k)*size+l] = d * s1
	j.matrix[(na+l)*size+k] = d * cmplx.Conj(s1)
	j.matrix[(na+k)*size+na+l] = d * s2

	ck, cl := j.c[j.active[k]], j.c[j.active[l]]
	half := complex(0.5, 0)
	j.rhs[k] -= half * (fkl*cl*s0 + j.mirror[k*na+l]*cmplx.Conj(cl)*m0)
	j.rhs[na+k] -= half * (fkl*cl*s1 + j.mirror[k*na+l]*cmplx.Conj(cl)*m1)
	if k != l {
		j.rhs[l] -= half * (flk*ck*cmplx.Conj(s0) + j.mirror[l*na+k]*cmplx.Conj(ck)*m0)
		j.rhs[na+l] -= half * (flk*ck*cmplx.Conj(s1) + j.mirror[l*na+k]*cmplx.Conj(ck)*m1)
	}
}

// free solves for the free deviations. A partial without amplitude yet first gets one, with all
// rates held.
func (j *joint) free() {
	na := len(j.active)
	size := 2 * na
	factorHermitian(j.matrix, size, 1e-13)
	if j.amplitudes() {
		j.project()
		factorHermitian(j.matrix, size, 1e-13)
	}
	explained := j.explained()
	before := append(j.column[:0], j.rhs...)
	solveHermitian(j.matrix, size, j.rhs)
	for i, v := range before {
		explained += real(cmplx.Conj(v)*j.rhs[i]) * float64(j.s.length)
	}
	j.column = before
	j.noise(explained)
	j.inverse = grow(j.inverse, na*na)
	invertTail(j.matrix, size, na, j.inverse, j.column)
	j.deviations()
}

// amplitudes solves for the amplitudes alone if some active partial has none, and reports
// whether it did. The leading block of the factor is the factor of the leading block.
func (j *joint) amplitudes() bool {
	na := len(j.active)
	missing := false
	for _, r := range j.active {
		missing = missing || j.c[r] == 0
	}
	if !missing {
		return false
	}
	j.inverse = grow(j.inverse, na*na)
	for k := range na {
		copy(j.inverse[k*na:k*na+k+1], j.matrix[k*2*na:k*2*na+k+1])
	}
	solveHermitian(j.inverse, na, j.rhs[:na])
	for k, r := range j.active {
		j.c[r] += j.rhs[k]
		if j.c[r] == 0 {
			j.c[r] = complex(1e-30, 0)
		}
	}
	return true
}

// explained returns by how much the energy of the window exceeds that of what the model with its
// present amplitudes leaves of it; rhs must hold the products of basis and remainder.
func (j *joint) explained() float64 {
	n := j.s.n
	var sum float64
	for k, r := range j.active {
		z := j.s.at(r)
		var d complex128
		for i, e := range j.basis[k*n : (k+1)*n] {
			d += cmplx.Conj(e) * z[i]
		}
		// Energy is xᵀx − 2xᵀy + yᵀy; d is the product with x, rhs that with x − y.
		sum += real(cmplx.Conj(j.c[r]) * (d + j.rhs[k]))
	}
	return sum * float64(j.s.length)
}

// noise sets the power of the noise per sample from what the model leaves of the window's
// energy after this step, and the noise of every block accordingly.
func (j *joint) noise(explained float64) {
	free := math.Max(1, float64(j.s.samples()-4*len(j.active)-2))
	j.white = math.Max((j.s.energy-explained)/free, 1e-6*j.s.energy/float64(j.s.samples()))
	j.rho = grow(j.rho, len(j.active))
	for k := range j.rho {
		j.rho[k] = j.white / float64(j.s.length)
	}
}

// deviations turns the solution into amplitudes, decays and deviations in cents with their
// covariance.
func (j *joint) deviations() {
	na := len(j.active)
	j.dev, j.devCov = grow(j.dev, na), grow(j.devCov, na*na)
	j.slopeB, j.extra = grow(j.slopeB, na), grow(j.extra, na)
	for k, r := range j.active {
		rate := j.rhs[na+k] / j.c[r] / complex(j.s.half, 0)
		f := partialHz(j.f1, j.b, j.number[k])
		j.dev[k] = imag(rate) / (2 * math.Pi * f) * centsPerNeper
		j.slopeB[k] = partialHzByB(j.f1, j.b, j.number[k]) / f * centsPerNeper
		j.extra[k] = 0
		v := j.covariance(k, k) // [1/s²]
		a := j.alpha[r] - real(rate)
		a = (a*decaySigma*decaySigma + decayMean*v) / (decaySigma*decaySigma + v)
		j.alpha[r] = math.Max(-0.5/j.s.half, math.Min(4/j.s.half, a))
	}
	for k := range na {
		fk := 2 * math.Pi * partialHz(j.f1, j.b, j.number[k])
		for l := range k + 1 {
			fl := 2 * math.Pi * partialHz(j.f1, j.b, j.number[l])
			v := j.covariance(k, l) * centsPerNeper / fk * centsPerNeper / fl
			j.devCov[k*na+l], j.devCov[l*na+k] = v, v
		}
	}
	for k, r := range j.active {
		j.c[r] += j.rhs[k]
	}
}

// covariance returns that of the free rates of partials k and l, in 1/s².
func (j *joint) covariance(k, l int) float64 {
	ck, cl := j.c[j.active[k]], j.c[j.active[l]]
	v := j.inverse[k*len(j.active)+l] / (ck * cmplx.Conj(cl))
	return math.Sqrt(j.rho[k]*j.rho[l]) * real(v) / (j.s.half * j.s.half)
}

// bind fits the changes of f1 (cents) and B to the deviations by generalised least squares with
// covariance devCov + scatter + extra and the prior of B, and sets sigma and sigmaB.
func (j *joint) bind() (dc, db float64, ok bool) {
	na := len(j.active)
	j.weights = grow(j.weights, na*na)
	copy(j.weights, j.devCov)
	for k := range na {
		j.weights[k*na+k] += j.scatter + j.extra[k] + 1e-18
	}
	factorReal(j.weights, na)
	j.work = grow(j.work, 3*na)
	one, slope, y := j.work[:na], j.work[na:2*na], j.work[2*na:3*na]
	for k := range na {
		one[k] = 1
	}
	copy(slope, j.slopeB)
	copy(y, j.dev)
	forwardReal(j.weights, na, one)
	forwardReal(j.weights, na, slope)
	forwardReal(j.weights, na, y)
	var a11, a12, a22, b1, b2 float64
	for k := range na {
		a11 += one[k] * one[k]
		a12 += one[k] * slope[k]
		a22 += slope[k] * slope[k]
		b1 += one[k] * y[k]
		b2 += slope[k] * y[k]
	}
	p := 1 / (j.prior.sigma * j.prior.sigma)
	a22 += p
	b2 += p * (j.prior.mean - j.b)
	det := a11*a22 - a12*a12
	if !(det > 0) || math.IsInf(det, 0) {
		return 0, 0, false
	}
	j.sigma, j.sigmaB = math.Sqrt(a22/det), math.Sqrt(a11/det)
	return (a22*b1 - a12*b2) / det, (a11*b2 - a12*b1) / det, true
}

var debug func(string, ...any)
