package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A basis holds the partials that take part in a fit as functions of time, and how the blocks of a window
// answer to them. That of a partial is exp(iω·t − α·(t−t0)), t from the middle of the window and t0 the end
// at which it is loudest, so that none exceeds 1.
type basis struct {
	window *series
	part   []activePartial
	e      []complex128 // partials × blocks: the functions, block by block
	kernel []complex128 // partials × partials: response of the blocks of partial k to partial l
	mirror []complex128 // the same to the negative frequency of partial l
}

// An activePartial is a partial that takes part, as it was when the basis was computed.
type activePartial struct {
	row, number int
	reference   reference

	hz     float64 // frequency
	spin   spin    // its turn within a block
	fade   fade    // its fall within a block
	centre float64 // [s] centroid in time of its energy
	width  float64 // [s] standard deviation in time of that energy
	mass   float64 // that energy: Σ |basis|²
	slopeB float64 // [cents] d(cents)/dB

	ratio complex128 // from one block to the next, along the chord of the warp
	power complex128 // ratio to the number of blocks

	rho    float64 // noise power in one of its blocks
	grown  float64 // change of its amplitude in the last step, as a part of it
	slowed float64 // [1/s] change of its decay in it
}

// leastWidth is the square of the least width in time of a partial's energy, as a part of that of half the window.
const leastWidth = 1e-4

// at returns the basis function of active partial k.
func (b *basis) at(k int) []complex128 { n := b.window.n; return b.e[k*n : (k+1)*n] }

// compute computes the basis functions of m, where in time their energy lies, and how the blocks of each partial
// answer to itself.
func (b *basis) compute(m *model) {
	s, na := b.window, len(b.part)
	b.e = scratch.Grow(b.e, na*s.n)
	b.kernel, b.mirror = scratch.Grow(b.kernel, na*na), scratch.Grow(b.mirror, na*na)
	length := float64(s.length)
	for l := range b.part {
		p := &b.part[l]
		alpha := m.row[p.row].alpha
		p.hz = m.hz(p.row, p.number)
		p.slopeB = stiffstring.PartialHzByB(m.f1, m.b, p.number) / p.hz * stiffstring.CentsPerNeper
		wn := 2 * math.Pi * p.hz / s.fs
		p.spin = spin{cmplx.Rect(1, wn/2), cmplx.Rect(1, wn*length/2)}
		p.fade = fading(-alpha/s.fs/2, length)
		b.kernel[l*na+l], b.mirror[l*na+l] = b.response(l, l)
		b.run(l, alpha, m.loudest(p.row))
		p.weigh(b.at(l), s)
	}
}

// run fills the basis function of active partial l, which decays with alpha from the time loudest on.
func (b *basis) run(l int, alpha, loudest float64) {
	s, p, row := b.window, &b.part[l], b.at(l)
	fade := math.Exp(-alpha * (float64(s.length) / s.fs))
	e := cmplx.Rect(1, 2*math.Pi*p.hz*s.t[0]) * complex(math.Exp(alpha*(loudest-s.t[0])), 0)
	turn := p.spin.all * p.spin.all * complex(fade, 0)
	for i := range row {
		row[i] = e
		e *= turn
	}
	if warped := s.warpedRow(p.row); warped != nil {
		warped = warped[:len(row)]
		for i, v := range warped {
			row[i] *= v
		}
	}
}

// weigh sets where in time the energy of the basis function e lies.
func (p *activePartial) weigh(e []complex128, s *series) {
	t := s.t[:len(e)]
	var m0, m1, m2 float64
	for i, v := range e {
		energy := Power(v)
		m0 += energy
		m1 += energy * t[i]
		m2 += energy * t[i] * t[i]
	}
	p.mass = m0
	p.centre = m1 / m0
	p.width = math.Sqrt(max(m2/m0-p.centre*p.centre, leastWidth*s.half*s.half))
}

// gain returns what an amplitude of active partial k adds to its product with its own basis. Time counted from the
// centroid in units of the width makes that the same for the rate.
func (b *basis) gain(k int) float64 {
	return 0.5 * real(b.kernel[k*len(b.part)+k]) * b.part[k].mass
}

// loudness returns the root mean square over the window of the basis of active partial k.
func (b *basis) loudness(k int) float64 {
	var sum float64
	for _, e := range b.at(k) {
		sum += real(e)*real(e) + imag(e)*imag(e)
	}
	return math.Sqrt(sum / float64(b.window.n))
}

// answers computes how the blocks of each partial answer to every other.
func (b *basis) answers() {
	na := len(b.part)
	for l := range na {
		for k := range na {
			if k != l {
				b.kernel[k*na+l], b.mirror[k*na+l] = b.response(k, l)
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

// reference returns that of row r.
func (s *series) reference(r int) reference {
	m := float64(s.sub)
	v := -s.omega[r] / 2
	ref := reference{spin: spin{cmplx.Rect(1, v), cmplx.Rect(1, v*float64(s.length))}}
	if own := -s.banked[r] / 2; own != v {
		ref.rejoined = true
		ref.own = spin{cmplx.Rect(1, own), cmplx.Rect(1, own*m)}
		ref.sub = cmplx.Rect(1, v*m)
	}
	return ref
}

// response returns how the blocks of active partial k answer to active partial l, and to its negative
// frequency. Sub-blocks that were joined at another frequency than they were demodulated at let through what
// would cancel in a block: as much as a sub-block does of what turns by a whole number of turns in one.
func (b *basis) response(k, l int) (kernel, mirror complex128) {
	ref, of := &b.part[k].reference, &b.part[l]
	a, f := of.spin, of.fade
	if !ref.rejoined {
		return dirichlet(a.one*ref.one, a.all*ref.all, f), dirichlet(conj(a.one)*ref.one, conj(a.all)*ref.all, f)
	}
	m := float64(b.window.sub)
	sub := cmplx.Rect(1, math.Pi*of.hz/b.window.fs*m)
	within, across := fading(f.u, m), fading(f.u*m, float64(b.window.length)/m)
	return dirichlet(a.one*ref.own.one, sub*ref.own.all, within) * dirichlet(sub*ref.sub, a.all*ref.all, across),
		dirichlet(conj(a.one)*ref.own.one, conj(sub)*ref.own.all, within) * dirichlet(conj(sub)*ref.sub, conj(a.all)*ref.all, across)
}

// responseBy returns the derivatives of the response (kernel, mirror) of partial k to partial l by half the phase that
// partial l turns by in a sample.
func (b *basis) responseBy(k, l int, kernel, mirror complex128) (byKernel, byMirror float64) {
	ref, a := &b.part[k].reference, b.part[l].spin
	return dirichletBy(kernel, a.one*ref.one, a.all*ref.all), -dirichletBy(mirror, conj(a.one)*ref.one, conj(a.all)*ref.all)
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
	const by4, by5, by6, by7, by8, by9, by10 = 3 * 4, 4 * 5, 5 * 6, 6 * 7, 7 * 8, 8 * 9, 9 * 10 // from term to term
	sh := x * (1 + q/factorial3*(1+q/by5*(1+q/by7*(1+q/by9))))
	ch := 1 + q/2*(1+q/by4*(1+q/by6*(1+q/by8*(1+q/by10))))
	return fade{u, sh / length, ch / length}
}

// dirichlet returns sinh(L·x)/(L·sinh x) for x = u + iv, given one = e^{iv}, all = e^{iLv}: the mean
// of exp(2x·n) over a block of L samples centred on 0. u must be so small that sinh u is u.
func dirichlet(one, all complex128, f fade) complex128 {
	const atLimit = 1e-24 // |sinh x|² from which the quotient has lost its digits: it is 1 there
	re, im := f.u*real(one), imag(one)
	norm := re*re + im*im
	if norm < atLimit {
		return 1
	}
	a, b := f.sh*real(all), f.ch*imag(all)
	norm = 1 / norm
	return complex((a*re+b*im)*norm, (b*re-a*im)*norm)
}

// dirichletBy returns the derivative of k = dirichlet(one, all, fade) by v, to the order of u.
func dirichletBy(k, one, all complex128) float64 {
	const atLimit = 1e-9 // sin v, likewise
	if math.Abs(imag(one)) < atLimit {
		return 0
	}
	return (real(all) - real(k)*real(one)) / imag(one)
}

// A pair holds the products of two basis functions e and f: s0, s1, s2 are Σ t^p·ē·f for p = 0, 1,
// 2; m0, m1 and m2 are Σ t^p·ē·f̄. The closed form leaves out m2.
type pair struct{ s0, s1, s2, m0, m1, m2 complex128 }

// products returns those of active partials k and l by summing them.
func (b *basis) products(k, l int) pair { return products(b.at(k), b.at(l), b.window.t) }

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

// chords computes the turn of each basis function from block to block, along the chord of the warp,
// for the closed forms of [basis.crossed].
func (b *basis) chords() {
	s := b.window
	chord := 0.0
	if s.n > 1 {
		chord = (s.psi[s.n-1] - s.psi[0]) / (s.t[s.n-1] - s.t[0])
	}
	dt, n := float64(s.length)/s.fs, float64(s.n)
	for l := range b.part {
		p := &b.part[l]
		w := 2 * math.Pi * p.hz * (1 + chord) * dt
		fade := -2 * p.fade.u * float64(s.length) // that of the basis: decays may have been forgotten since
		p.ratio = cmplx.Rect(math.Exp(-fade), w)
		p.power = cmplx.Rect(math.Exp(-fade*n), math.Remainder(w*n, 2*math.Pi))
	}
}

// Where the closed form of a sum holds: over enough blocks, and so far from a constant series that its digits are
// not lost.
const (
	closedBlocks = 4
	closedTurn   = 3.0 // rad over the window, or nepers
)

// crossed returns the products of two different partials in closed form, as sums of geometric
// series. A warp of time enters by its chord from end to end: such sums come from the ends of the
// window alone, so that what lies between changes little of what is small already. It reports
// false where the series is nearly constant and the closed form would lose its digits.
func (b *basis) crossed(k, l int) (p pair, ok bool) {
	s, pk, pl := b.window, &b.part[k], &b.part[l]
	n := s.n
	ratio := conj(pk.ratio) * pl.ratio
	mirrored := conj(pk.ratio * pl.ratio)
	if !closedProducts || n < closedBlocks || far(ratio)*float64(n) < closedTurn || far(mirrored)*float64(n) < closedTurn {
		return pair{}, false
	}
	t0 := complex(s.t[0], 0)
	dt := complex(s.t[1]-s.t[0], 0)
	begin := conj(b.e[k*n]) * b.e[l*n]
	g0, g1, g2 := geometric(ratio, conj(pk.power)*pl.power, float64(n))
	p.s0 = begin * g0
	p.s1 = begin * (t0*g0 + dt*g1)
	p.s2 = begin * (t0*t0*g0 + 2*t0*dt*g1 + dt*dt*g2)
	begin = conj(b.e[k*n] * b.e[l*n])
	g0, g1, _ = geometric(mirrored, conj(pk.power*pl.power), float64(n))
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
