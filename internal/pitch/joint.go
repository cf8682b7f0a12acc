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
	c        []complex128 // amplitude, by row of s; see response
	alpha    []float64    // [1/s] by row of s
	off      []float64    // [cents] frequency of each row against the law, as taken so far
	offSigma []float64    // [cents] how well the frequency of each row is known beside the law
	seen     []sighting   // by row
	kernel   []complex128 // active × active: response of block k to partial l
	mirror   []complex128 // the same to the negative frequency of partial l
	basis    []complex128 // active × blocks: exp(s_l·t)
	matrix   []complex128
	rhs      []complex128
	inverse  []complex128 // covariance shape of the free rates
	column   []complex128
	left     []complex128 // active × blocks: what the model leaves
	rho      []float64    // noise power in one block of row k
	signal   float64      // energy in the window that the model explains
	white    float64      // noise power per sample, from the whole window
	dev      []float64    // [cents] free deviation of each active partial from the law
	devCov   []float64    // [cents²] active × active
	weights  []float64    // Cholesky factor of devCov plus scatter
	slopeB   []float64    // [cents] d(cents of partial)/dB
	work     []float64
	extra    []float64 // [cents²] variance that its scatter about the law adds to a partial
	scatter  float64   // width of the scatter of partials about the law, in units of lawWidth
	sigma    float64   // [cents] of f1
	sigmaB   float64
	phasorsA []complex128
	phasorsB []complex128
	ratio    []complex128 // by active partial: from one block to the next, along the chord of the warp
	power    []complex128 // ratio to the number of blocks
	centre   []float64    // [s] centroid in time of each active partial's energy
	width    []float64    // [s] standard deviation in time of that energy
	before   []float64    // [Hz] frequency of each active partial before a step
}

// decay prior: strings and pipes alike decay by some 1/s; a buried partial must not run away.
const (
	decayMean  = 3.0  // 1/s
	decaySigma = 30.0 // 1/s
)

// lawScatter returns how far (cents, one σ) partial k of a real string is expected off the law
// before anything is measured: partials 4 and up keep to about 0.3 cent, the lowest often lie
// several cents off (body and bridge coupling, pull of pickup magnets). Own measurement on the
// recordings in testdata/wav, rounded up.
func lawScatter(k int) float64 {
	switch k {
	case 1:
		return 5
	case 2:
		return 2
	case 3:
		return 1
	}
	return 0.5
}

// hz returns the frequency of active partial k in the present model.
func (j *joint) hz(k int) float64 {
	r := j.active[k]
	return partialHz(j.f1, j.b, j.number[k]) * math.Exp(j.off[r]/centsPerNeper)
}

// begin points the fit at a window, with what is known of f1 (σ in cents) and B. With carry the
// frequencies of single partials found by the last fit are kept as its start.
func (j *joint) begin(s *series, f1, sigmaCents, b, sigmaB float64, prior stiffnessPrior, carry bool) {
	j.s, j.f1, j.b, j.prior = s, f1, b, prior
	j.sigma, j.sigmaB = sigmaCents, sigmaB
	j.c = grow(j.c, s.rows)
	for r := range s.rows {
		j.c[r] = 0
	}
	if !carry {
		j.off, j.offSigma, j.seen = grow(j.off, maxPartials), grow(j.offSigma, maxPartials), grow(j.seen, maxPartials)
		j.alpha = grow(j.alpha, maxPartials)
		for r := range maxPartials {
			j.off[r], j.offSigma[r], j.seen[r] = 0, lawScatter(r+1), untried
			j.alpha[r] = decayMean
		}
	}
	j.active = j.active[:0]
	for r := range s.rows {
		j.alpha[r] = j.allowed(j.alpha[r])
	}
	j.scatter = 0
}

// allowed returns the decay rate nearest to a that the blocks of the window can follow.
func (j *joint) allowed(a float64) float64 {
	return math.Max(-0.5/j.s.half, math.Min(1.5*j.s.fs/float64(j.s.length), a))
}

// length returns for how long (s) row r sounds within the window.
func (j *joint) length(r int) float64 {
	return math.Min(2*j.s.half, 3/math.Max(j.alpha[r], 1e-3))
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
	for r := range j.s.rows {
		k := j.s.number[r]
		f := partialHz(j.f1, j.b, k)
		if f > 0.46*j.s.fs {
			break
		}
		if r > 0 && j.uncertain(r)*j.length(r) > 0.3 {
			continue
		}
		j.active = append(j.active, r)
		j.number = append(j.number, k)
	}
	return len(j.active) > before
}

// A sighting is what earlier windows have shown of a partial.
type sighting uint8

const (
	untried sighting = iota
	buried           // looked for, not found to stand out of the noise
	found            // its own frequency is known
)

// uncertain returns how far (Hz) the partial of row r may lie from where the model has it.
func (j *joint) uncertain(r int) float64 {
	k := j.s.number[r]
	f := partialHz(j.f1, j.b, k)
	byLaw := math.Hypot(partialHzByB(j.f1, j.b, k)*j.sigmaB, f*(j.sigma+0.02)/centsPerNeper)
	own := f / centsPerNeper * j.offSigma[r]
	switch j.seen[r] {
	case found:
		return math.Min(own, math.Hypot(byLaw, f/centsPerNeper*lawScatter(k)))
	case buried: // where exactly does not matter
		return byLaw
	}
	return math.Hypot(byLaw, own)
}

// step makes one Gauss–Newton step and returns the change of f1 in cents.
func (j *joint) step() float64 {
	j.response()
	j.project()
	j.free()
	j.update()
	dc, db, ok := j.bind(false)
	if !ok {
		return math.NaN()
	}
	dc = math.Max(-40, math.Min(40, dc))
	j.f1 *= math.Exp(dc / centsPerNeper)
	db = math.Max(-1e-4, math.Min(0.05, j.b+db)) - j.b
	j.b += db
	j.release(dc, db)
	for k, r := range j.active {
		// Amplitudes were found with each partial turning about its own centroid.
		j.c[r] *= cmplx.Rect(1, -2*math.Pi*(j.hz(k)-j.before[k])*j.centre[k])
	}
	return dc
}

// release lets each partial go off the law as far as its own data say against the scatter
// expected of it (the mean of its deviation given both).
func (j *joint) release(dc, db float64) {
	na := len(j.active)
	for k, r := range j.active {
		n := j.number[k]
		v, t := j.devCov[k*na+k], lawScatter(n)*lawScatter(n)
		limit := centsPerNeper * 0.3 / (j.length(r) * partialHz(j.f1, j.b, n))
		law := dc + db*j.slopeB[k]
		want := law + (j.dev[k]-law)*t/(v+t) - j.off[r]
		j.off[r] += math.Max(-limit, math.Min(limit, want)) - law
		if v < t {
			j.offSigma[r] = math.Sqrt(v*t/(v+t))*1.5 + 0.03
			j.seen[r] = found
		} else if j.seen[r] == untried {
			j.seen[r] = buried
		}
	}
}

// response computes the basis functions and how each block answers to each partial. The basis
// function of a partial is exp(iω·t − α·(t−t0)), t from the middle of the window and t0 the end
// at which it is loudest, so that none exceeds 1.
func (j *joint) response() {
	n, na := j.s.n, len(j.active)
	j.basis = grow(j.basis, na*n)
	j.kernel, j.mirror = grow(j.kernel, na*na), grow(j.mirror, na*na)
	j.phasorsA, j.phasorsB = grow(j.phasorsA, 4*na), grow(j.phasorsB, 4*na)
	j.centre, j.width, j.before = grow(j.centre, na), grow(j.width, na), grow(j.before, na)
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
		var m0, m1, m2 float64
		for i := range row {
			row[i] = e
			e *= turn
			if j.s.psi[i] != 0 {
				row[i] *= cmplx.Rect(1, w*j.s.psi[i])
			}
			p := real(row[i])*real(row[i]) + imag(row[i])*imag(row[i])
			m0 += p
			m1 += p * j.s.t[i]
			m2 += p * j.s.t[i] * j.s.t[i]
		}
		j.centre[l] = m1 / m0
		j.width[l] = math.Sqrt(math.Max(m2/m0-j.centre[l]*j.centre[l], 1e-4*j.s.half*j.s.half))
		wn := w / j.s.fs
		j.phasorsA[2*l], j.phasorsA[2*l+1] = cmplx.Rect(1, wn/2), cmplx.Rect(1, wn*length/2)
		j.phasorsB[2*l], j.phasorsB[2*l+1] = cmplx.Rect(1, -j.s.omega[r]/2), cmplx.Rect(1, -j.s.omega[r]*length/2)
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

// project fills matrix (lower triangle) and rhs: the normal equations of the free deviations.
// Unknowns: the changes of C of all partials, then C·(change of rate)·width, with time counted
// from the centroid of the partial.
func (j *joint) project() {
	n, na := j.s.n, len(j.active)
	size := 2 * na
	j.matrix, j.rhs = grow(j.matrix, size*size), grow(j.rhs, size)
	for k, r := range j.active {
		ek := j.basis[k*n : (k+1)*n]
		z := j.s.at(r)[:n]
		var d0, d1 complex128
		for i, e := range ek {
			v := conj(e) * z[i]
			d0 += v
			d1 += v * complex(j.s.t[i], 0)
		}
		j.rhs[k] = d0
		j.rhs[na+k] = (d1 - complex(j.centre[k], 0)*d0) / complex(j.width[k], 0)
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

// A pair holds the products of two basis functions e and f: s0, s1, s2 are Σ t^p·ē·f for p = 0, 1,
// 2; m0 and m1 are Σ t^p·ē·f̄ for p = 0, 1.
type pair struct{ s0, s1, s2, m0, m1 complex128 }

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
		p.m1 += complex(mr*t, mi*t)
		p.s2 += complex(sr*t, si*t)
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
		explained += real(conj(v)*j.rhs[i]) * float64(j.s.length)
	}
	j.column = before
	j.noise(explained)
	j.inverse, j.column = grow(j.inverse, na*na), grow(j.column, na*na)
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
			d += conj(e) * z[i]
		}
		// Energy is xᵀx − 2xᵀy + yᵀy; d is the product with x, rhs that with x − y.
		sum += real(conj(j.c[r]) * (d + j.rhs[k]))
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
		rate := j.rhs[na+k] / j.c[r] / complex(j.width[k], 0)
		f := j.hz(k)
		j.dev[k] = j.off[r] + imag(rate)/(2*math.Pi*f)*centsPerNeper
		j.slopeB[k] = partialHzByB(j.f1, j.b, j.number[k]) / f * centsPerNeper
		j.extra[k] = 0
	}
	for k := range na {
		fk := 2 * math.Pi * j.hz(k)
		for l := range k + 1 {
			fl := 2 * math.Pi * j.hz(l)
			v := j.covariance(k, l) * centsPerNeper / fk * centsPerNeper / fl
			j.devCov[k*na+l], j.devCov[l*na+k] = v, v
		}
	}
}

// update takes over the changes of amplitude and decay that the solution asks for.
func (j *joint) update() {
	na := len(j.active)
	for k, r := range j.active {
		v := j.covariance(k, k) // [1/s²]
		step := -real(j.rhs[na+k]/j.c[r]) / j.width[k]
		limit := 0.7 / j.width[k]
		a := j.alpha[r] + math.Max(-limit, math.Min(limit, step))
		a = j.allowed((a*decaySigma*decaySigma + decayMean*v) / (decaySigma*decaySigma + v))
		// The amplitude found is that at the centroid; it is kept as that at the loudest end.
		from := j.alpha[r] * (j.centre[k] - j.loudest(r))
		j.c[r] += j.rhs[k]
		j.alpha[r] = a
		j.c[r] *= complex(math.Exp(a*(j.centre[k]-j.loudest(r))-from), 0)
	}
}

// covariance returns that of the free rates of partials k and l, in 1/s².
func (j *joint) covariance(k, l int) float64 {
	ck, cl := j.c[j.active[k]], j.c[j.active[l]]
	v := j.inverse[k*len(j.active)+l] / (ck * conj(cl))
	return math.Sqrt(j.rho[k]*j.rho[l]) * real(v) / (j.width[k] * j.width[l])
}

// bind fits the changes of f1 (cents) and B to the deviations by generalised least squares with
// covariance devCov and the prior of B, and sets sigma and sigmaB. The scatter of the partials
// about the law is, in the final fit, what was found (scatter, extra), and before that what must
// be expected.
func (j *joint) bind(final bool) (dc, db float64, ok bool) {
	na := len(j.active)
	j.weights = grow(j.weights, na*na)
	copy(j.weights, j.devCov)
	for k := range na {
		if final {
			j.weights[k*na+k] += j.extra[k] + 1e-18
		} else {
			j.weights[k*na+k] += lawScatter(j.number[k]) * lawScatter(j.number[k])
		}
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
