package ensemble

import (
	"cmp"
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// points is into how many steps a window is cut for a fit; each step is one value a cluster.
const points = 32

// What is expected of a partial's decay before anything is measured.
const (
	decayMean  = 4.0  // 1/s
	decaySigma = 12.0 // 1/s
	decayMost  = 80.0 // 1/s
)

// lowPassBend is π²/6 − 1: the low-pass lets 1 − lowPassBend·x² through near its middle.
const lowPassBend = math.Pi*math.Pi/6 - 1

// linkBins is the distance, in units of 1/window, up to which partials are fitted together.
const linkBins = 3.0

// Up to how far, in points/window, the partials of other clusters are taken off one: as far as they lie less than
// about 45 dB down in its low-pass while the fit grows, and less than 60 dB at last.
const (
	nearPoints = 1.9
	farPoints  = 4.0
)

// reachBins is how well, in the same units, the frequency of a partial must be known for it to take
// part: then it lies in the main lobe, from where the fit converges.
const reachBins = 0.8

// A fit is the joint least-squares fit of all partials of all strings to one window:
//
//	x(t) = Σ_l Re C_l·exp((−α_l + iω_l)·t) + noise
//
// under a Hann taper, so that partials further apart than its main lobe do not meet. Those nearer
// form clusters; a cluster is demodulated at its middle into points values and its partials,
// coincident ones too, are fitted together. What the partials of other clusters add to its values
// is taken off with their present amplitudes.
//
// A Gauss–Newton step gives for each cluster, amplitudes and decays eliminated, the information
// matrix P of the deviations d of its partials from the law in cents, and P·d. P may be singular,
// as it is for partials that coincide. The deviations are the law's changes plus a scatter of
// variance T, so that the law (f1 and B of all strings) follows from generalised least squares
// with the weight (P⁻¹+T)⁻¹ = P − P(P+T⁻¹)⁻¹P, which exists for a singular P too.
type fit struct {
	fs       float64
	seconds  float64      // length of the window
	reach    float64      // up to which others' partials are taken off a cluster, in points/window
	hop      int          // sub-blocks from point to point
	from     int          // first sub-block of the window
	t        []float64    // [s] time of each point from the middle of the window
	h        []float64    // taper, by point
	cosines  []float64    // of the low-pass, by sub-block over a hop
	turns    []complex128 // of one cluster's frequency, by sub-block over a hop
	partials []partial
	active   []int // indexes into partials, by frequency
	clusters []cluster
	z        []complex128 // points − 1 for each cluster
	left     []complex128 // what the model leaves of one cluster
	one      []complex128 // one wave
	basis    []complex128 // the waves of one cluster
	matrix   []float64    // of all clusters
	vector   []float64
	white    float64 // typical noise power of a point
	order    []float64
	alone    []deviation
	column   []float64
	law      law
	scatter  spread
	part     float64 // of the variance of the law that the partials show, see found
}

// A partial is one partial of one string.
type partial struct {
	voice, k int
	row      int // in the bank
	law      float64
	hz       float64    // present model
	c        complex128 // amplitude at the middle of the window
	alpha    float64    // [1/s]
	off      float64    // [cents] against the law
	variance float64    // [cents²] of off
	extra    float64    // [cents²] T of this partial
	settled  bool       // it has been fitted
	doubt    float64    // variance of c
	heard    bool       // it stands out of what is around it
	cluster  int
}

// A cluster is a run of active partials that are fitted together.
type cluster struct {
	from, to int     // in active
	hz       float64 // demodulated at
	rho      float64 // noise power of a point
	at       int     // of its matrix and vector
	measured bool
	power    float64 // of all its partials
	observed float64 // power of the sound there, in the mean over the window
}

func (c *cluster) size() int { return c.to - c.from }

// prepare makes what does not depend on the window.
func (f *fit) prepare(fs float64) {
	f.fs = fs
	f.t, f.h = make([]float64, points-1), make([]float64, points-1)
	f.left, f.one = make([]complex128, points-1), make([]complex128, points-1)
}

// begin sets the window: the sub-blocks [from, to) of the bank but those left over at its front.
// With carry, what is known of single partials is kept.
func (f *fit) begin(b *bank, from, to int, carry bool) {
	f.hop = (to - from) / points
	count := f.hop * points
	f.from = to - count
	f.seconds = float64(count*b.m) / f.fs
	for j := range f.t {
		f.t[j] = float64((j+1)*f.hop-count/2) * float64(b.m) / f.fs
		s := math.Sin(math.Pi * float64(j+1) / points)
		f.h[j] = s * s
	}
	f.cosines = grow(f.cosines, f.hop)
	for i := range f.cosines {
		f.cosines[i] = math.Cos(math.Pi * (float64(i) + 0.5) / float64(f.hop))
	}
	for i := range f.partials {
		p := &f.partials[i]
		p.c, p.heard = 0, false
		if carry {
			continue
		}
		p.alpha, p.off, p.settled, p.variance = decayMean, 0, false, 0
		p.extra = sq(stiffstring.ScatterWidth(p.k)) * 2
	}
	f.active = f.active[:0]
	f.scatter = spread{1, 1}
}

func sq(x float64) float64 { return x * x }

// converge runs the staged fit of all candidates. In each stage those partials take part whose
// frequency is known well enough to lie in the main lobe of the taper.
func (f *fit) converge(b *bank, voices []voice) bool {
	f.law.begin(voices)
	f.reach = nearPoints
	for range 24 {
		grew := f.choose(voices)
		if len(f.active) == 0 {
			return false
		}
		f.arrange(b)
		for range 3 {
			f.sweep(voices)
			f.expect()
			if !f.law.solve(f, voices) {
				return false
			}
			f.apply(voices)
			if f.law.still(voices) {
				break
			}
		}
		if !grew {
			break
		}
	}
	return true
}

// place updates the frequencies of all partials from the law.
func (f *fit) place(voices []voice) {
	for i := range f.partials {
		p := &f.partials[i]
		v := &voices[p.voice]
		p.law = stiffstring.PartialHz(v.f1, v.b, p.k)
		p.hz = p.law * math.Exp(p.off/stiffstring.CentsPerNeper)
	}
}

// choose sets the active partials and reports whether there are more than before.
func (f *fit) choose(voices []voice) bool {
	f.place(voices)
	before := len(f.active)
	f.active = f.active[:0]
	for i := range f.partials {
		p := &f.partials[i]
		v := &voices[p.voice]
		if !v.candidate || p.hz > v.top {
			continue
		}
		slope := stiffstring.CentsByB(v.b, float64(p.k))
		uncertain := sq(v.sigma) + sq(slope*v.sigmaB) + 2*slope*v.sigmaFB
		if !p.settled {
			uncertain += sq(stiffstring.ScatterWidth(p.k))
		}
		if math.Sqrt(math.Max(uncertain, 0))*p.hz/stiffstring.CentsPerNeper*f.seconds < reachBins || p.k == 1 {
			f.active = append(f.active, i)
		}
	}
	slices.SortFunc(f.active, func(a, b int) int { return cmp.Compare(f.partials[a].hz, f.partials[b].hz) })
	return len(f.active) > before
}

// arrange groups the active partials into clusters and demodulates each.
func (f *fit) arrange(b *bank) {
	f.clusters = f.clusters[:0]
	at := 0
	for i, a := range f.active {
		p := &f.partials[a]
		if i == 0 || p.hz-f.partials[f.active[i-1]].hz > linkBins/f.seconds {
			f.clusters = append(f.clusters, cluster{from: i})
		}
		p.cluster = len(f.clusters) - 1
		f.clusters[p.cluster].to = i + 1
	}
	f.z = grow(f.z, len(f.clusters)*len(f.t))
	for i := range f.clusters {
		c := &f.clusters[i]
		first, last := &f.partials[f.active[c.from]], &f.partials[f.active[c.to-1]]
		c.hz = (first.hz + last.hz) / 2
		c.at = at
		at += 16 * c.size() * c.size()
		f.demodulate(b, c, f.points(i))
		c.observed = f.observed(i)
	}
	f.matrix = grow(f.matrix, at)
	f.vector = grow(f.vector, 4*len(f.active))
}

// observed returns the power of the sound in cluster i, in the tapered mean.
func (f *fit) observed(i int) float64 {
	var sum, weight float64
	for j, v := range f.points(i) {
		sum += f.h[j] * norm(v)
		weight += f.h[j]
	}
	return sum / weight
}

// points returns the values of cluster i.
func (f *fit) points(i int) []complex128 { return f.z[i*len(f.t) : (i+1)*len(f.t)] }

// demodulate fills z with the sound around the cluster's middle frequency, low-passed. A sinusoid
// of complex amplitude C at f gives C·gain(f−hz)·exp(2πi(f−hz)t).
//
// The low-pass rises over one hop and falls over the next, (1 ∓ cos)/2: the sum of a hop and that weighted
// with the cosine give its part in both points beside it.
func (f *fit) demodulate(b *bank, c *cluster, z []complex128) {
	row := f.row(b, c)
	y := b.y[row][f.from:]
	dt := float64(b.m) / f.fs
	w := 2 * math.Pi * c.hz
	turn := unit(-w * dt)
	f.turns = grow(f.turns, f.hop)
	e := complex(1/float64(f.hop), 0)
	for i := range f.turns {
		f.turns[i] = e
		e *= turn
	}
	// The bank's sub-blocks run on their own time; the middle of the first is this far from the
	// middle of the window.
	start := (0.5 - float64(points*f.hop)/2) * dt
	at, hopTurn := unit(-w*start), unit(-w*dt*float64(f.hop))
	var falling complex128
	for j := range points {
		var sum, weighted complex128
		cosines := f.cosines[:len(f.turns)]
		block := y[j*f.hop:][:len(f.turns)]
		for i, e := range f.turns {
			v := block[i] * e
			sum += v
			weighted += complex(real(v)*cosines[i], imag(v)*cosines[i])
		}
		sum, weighted = sum*at, weighted*at
		if j > 0 {
			z[j-1] = falling + sum + weighted
		}
		falling = sum - weighted
		at *= hopTurn
	}
}

// row returns the row of the bank nearest to the cluster.
func (f *fit) row(b *bank, c *cluster) int {
	best, row := math.Inf(1), 0
	for _, a := range f.active[c.from:c.to] {
		r := f.partials[a].row
		if d := math.Abs(b.omega[r]*f.fs/(2*math.Pi) - c.hz); d < best {
			best, row = d, r
		}
	}
	return row
}

func unit(x float64) complex128 {
	s, c := math.Sincos(x)
	return complex(c, s)
}

func conj(c complex128) complex128 { return complex(real(c), -imag(c)) }

func norm(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

// gain returns the response of the low-pass to what lies hz from its middle and decays by alpha: that at the
// complex frequency hz + iα/2π, to first order in α.
func (f *fit) gain(hz, alpha float64) complex128 {
	unit := 2 * f.seconds / points // the response is sin πx / (πx·(1−x²)) of x in these units
	x, decay := hz*unit, alpha/(2*math.Pi)*unit
	x2 := x * x
	if x2 < 1e-4 {
		return complex(1-lowPassBend*x2, -2*lowPassBend*x*decay)
	}
	if edge := x2 - 1; math.Abs(edge) < 1e-3 {
		return complex(0.5-0.375*edge, -0.75*x*decay)
	}
	sin, cos := math.Sincos(math.Pi * x)
	v := sin / (math.Pi * x * (1 - x2))
	slope := cos/(x*(1-x2)) - v*(1-3*x2)/(x*(1-x2))
	return complex(v, slope*decay)
}

// wave fills dst with the values that partial p of unit amplitude gives in a cluster at hz.
func (f *fit) wave(dst []complex128, p *partial, hz, bend float64) {
	w := 2 * math.Pi * (p.hz - hz)
	g := f.gain(p.hz-hz, p.alpha)
	dt := f.t[1] - f.t[0]
	t0 := f.t[0]
	// The phase of a note that glides by bend (relative, 1/s) is ω(t + bend·t²/2).
	k := math.Pi * p.hz * bend
	e := g * complex(math.Exp(-p.alpha*t0), 0) * unit(w*t0+k*t0*t0)
	step := complex(math.Exp(-p.alpha*dt), 0) * unit(w*dt+k*(2*t0*dt+dt*dt))
	more := unit(2 * k * dt * dt)
	for j := range dst {
		dst[j] = e
		e *= step
		step *= more
	}
}

// sweep fits every cluster on its own, given what the others hold now.
func (f *fit) sweep(voices []voice) {
	for i := range f.clusters {
		c := &f.clusters[i]
		f.remainder(i, voices)
		f.waves(c, voices)
		if f.amplitudes(c) {
			f.remainder(i, voices)
		}
		f.noise(c)
		f.normal(c)
	}
	f.order = grow(f.order, len(f.clusters))
	for i := range f.clusters {
		f.order[i] = f.clusters[i].rho
	}
	slices.Sort(f.order)
	f.white = f.order[len(f.order)/2]
}

// remainder sets left to what all partials near cluster i leave of its values.
func (f *fit) remainder(i int, voices []voice) {
	c := &f.clusters[i]
	copy(f.left, f.points(i))
	reach := f.reach * points / f.seconds
	one := f.one
	add := func(at int) bool {
		p := &f.partials[f.active[at]]
		if math.Abs(p.hz-c.hz) > reach {
			return false
		}
		if p.c == 0 {
			return true
		}
		f.wave(one, p, c.hz, voices[p.voice].bend)
		for j, e := range one {
			f.left[j] -= p.c * e
		}
		return true
	}
	for at := c.from - 1; at >= 0 && add(at); at-- {
	}
	for at := c.from; at < len(f.active) && add(at); at++ {
	}
}

// waves sets basis to the waves of the cluster's partials.
func (f *fit) waves(c *cluster, voices []voice) {
	n := len(f.t)
	f.basis = grow(f.basis, c.size()*n)
	for l, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		f.wave(f.basis[l*n:(l+1)*n], p, c.hz, voices[p.voice].bend)
	}
}
