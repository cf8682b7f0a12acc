package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A joint is a least-squares fit of one stiff string to a window: all partials at once, each
// with its own complex amplitude C and decay α, their frequencies bound to f1 and B by the
// stiff-string law:
//
//	x(t) = Σ_k Re C_k·exp((−α_k + iω_k)·t) + noise,  ω_k = 2π·stiffstring.PartialHz(f1, B, k)
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

	live       bool // fits must be cheap
	most       int  // rows that may be active; 0: all
	carried    bool // the last fit was of the same note
	f1, b      float64
	prior      stiffstring.Prior
	c          []complex128 // amplitude, by row of s; see response
	alpha      []float64    // [1/s] by row of s
	off        []float64    // [cents] frequency of each row against the law, as taken so far
	offSigma   []float64    // [cents] how well the frequency of each row is known beside the law
	seen       []sighting   // by row
	kernel     []complex128 // active × active: response of block k to partial l
	mirror     []complex128 // the same to the negative frequency of partial l
	basis      []complex128 // active × blocks: exp(s_l·t)
	matrix     []complex128
	rhs        []complex128
	inverse    []complex128 // covariance shape of the free rates
	reach      []complex128 // [cents] that one unit of a free rate's solution means
	column     []complex128
	left       []complex128 // active × blocks: what the model leaves
	rho        []float64    // noise power in one block of row k
	signal     float64      // energy in the window that the model explains
	white      float64      // noise power per sample, from the whole window
	quiet      float64      // noise power per sample where the last fit left little; 0: not known
	dev        []float64    // [cents] free deviation of each active partial from the law
	devCov     []float64    // [cents²] active × active
	weights    []float64    // Cholesky factor of devCov plus scatter
	slopeB     []float64    // [cents] d(cents of partial)/dB
	work       []float64
	extra      []float64 // [cents²] variance that its scatter about the law adds to a partial
	scatter    float64   // width of the scatter of partials about the law, in units of lawWidth
	sigma      float64   // [cents] of f1
	sigmaB     float64
	knownB     float64      // [cents²] variance of f1 if B were known
	variance   Variance     // of f1 in the final fit
	isolated   []complex128 // active × blocks: what the other partials leave of the blocks of each
	basisRate  []complex128 // by block: a basis function times the part by which the warp runs fast
	stale      bool         // alone has to be computed anew: partials have moved
	settled    bool         // the last step was so small that the final fit makes up for what is left
	spins      []spin       // turn of each active partial within a block
	references []reference  // of each active row
	fades      []fade       // fall of each active partial within a block
	ratio      []complex128 // by active partial: from one block to the next, along the chord of the warp
	power      []complex128 // ratio to the number of blocks
	centre     []float64    // [s] centroid in time of each active partial's energy
	width      []float64    // [s] standard deviation in time of that energy
	mass       []float64    // that energy: Σ |basis|²
	residue    []float64    // [cents] deviation of each active partial from the law, in the final fit
	ratios     []float64    // work space of robustScatter
	diagonal   bool         // partials are separable: the covariances are diagonal
	brief      bool         // the window is so short that the fit is bound
	priorWork  priorFit     // work space of that fit
	before     []float64    // [Hz] frequency of each active partial before a step
	grown      []float64    // change of the amplitude of each in that step, as a part of it
	slowed     []float64    // [1/s] change of its decay
}

// decay prior: strings and pipes alike decay by some 1/s; a buried partial must not run away.
const (
	decayMean  = 3.0  // 1/s
	decaySigma = 30.0 // 1/s
)

// hz returns the frequency of active partial k in the present model.
func (j *joint) hz(k int) float64 {
	r := j.active[k]
	return stiffstring.PartialHz(j.f1, j.b, j.number[k]) * math.Exp(j.off[r]/stiffstring.CentsPerNeper)
}

// begin points the fit at a window, with what is known of f1 (σ in cents) and B. With carry the
// frequencies of single partials found by the last fit are kept as its start.
func (j *joint) begin(s *series, f1, sigmaCents, b, sigmaB float64, prior stiffstring.Prior, carry bool) {
	j.s, j.f1, j.b, j.prior = s, f1, b, prior
	j.sigma, j.sigmaB, j.carried = sigmaCents, sigmaB, carry
	j.brief = 2*s.half*f1 < briefPeriods
	j.c = scratch.Grow(j.c, s.rows)
	for r := range s.rows {
		j.c[r] = 0
	}
	if !carry {
		j.off, j.offSigma, j.seen = scratch.Grow(j.off, MaxPartials), scratch.Grow(j.offSigma, MaxPartials), scratch.Grow(j.seen, MaxPartials)
		j.alpha = scratch.Grow(j.alpha, MaxPartials)
		for r := range MaxPartials {
			j.forget(r)
		}
		j.quiet, j.white = 0, 0
	}
	j.active = j.active[:0]
	for r := range s.rows {
		if !(math.Abs(j.off[r]) <= FurthestOff) || math.IsNaN(j.alpha[r]) { // a fit that came to nothing
			j.forget(r)
		}
		j.alpha[r] = j.allowed(j.alpha[r])
	}
	j.scatter = 0
}

// forget drops what earlier fits have found of the partial of row r.
func (j *joint) forget(r int) {
	j.off[r], j.offSigma[r], j.seen[r], j.alpha[r] = 0, stiffstring.ScatterSigma(r+1), untried, decayMean
}

// FurthestOff is how far (cents) off the law a partial is followed.
const FurthestOff = 40

// followed returns the departure from the law (cents) nearest to off to which partial n is followed.
func (j *joint) followed(off float64, n int) float64 {
	most := float64(FurthestOff)
	if !j.live {
		most = min(most, stiffstring.CentsPerNeper/4/float64(n))
	}
	return max(-most, min(most, off))
}

// allowed returns the decay rate nearest to a that the blocks of the window can follow.
//
// In the many short blocks of a fit that is not live, and in windows of a few periods, rows without a partial
// follow what the model lacks (the tail of a room, a glide). There a partial is followed no further than a quarter of the way to the next, and its
// spectral line, a/π wide, may fill no more than half of it: else rows could not be told from each other, nor
// the equations be solved.
func (j *joint) allowed(a float64) float64 {
	most := 1.5 * j.s.fs / float64(j.s.length)
	if !j.live || !j.separable() {
		most = min(most, math.Pi/2*j.f1)
	}
	return max(-0.5/j.s.half, min(most, a))
}

// length returns for how long (s) row r sounds within the window.
func (j *joint) length(r int) float64 {
	return min(2*j.s.half, 3/max(j.alpha[r], 1e-3))
}

// converge runs the staged fit: only partials whose frequency is known well enough to lie in
// the main lobe of the window take part; each stage narrows f1 and B and lets in more. It
// reports whether a fit was reached.
func (j *joint) converge() bool {
	for stage := range 12 {
		more := j.choose()
		if len(j.active) == 0 {
			return false
		}
		if stage > 0 && !more {
			break
		}
		for pass := range 8 {
			if !j.step() {
				return false
			}
			// New partials have their amplitude from the first step, and the rest from the second.
			if pass > 0 && j.settled {
				break
			}
		}
	}
	j.residuals()
	return j.law()
}

// linear returns the step of f1 (cents) that turns the highest partial by so little at the ends of the
// window that the final fit takes it in one step.
func (j *joint) linear() float64 {
	const turn = 0.02 // rad; what is neglected is its square
	top := stiffstring.PartialHz(j.f1, j.b, j.number[len(j.number)-1])
	return turn / (2 * math.Pi * top * j.s.half) * stiffstring.CentsPerNeper
}

// choose sets the active rows and reports whether some of them are new.
func (j *joint) choose() bool {
	j.active, j.number = j.active[:0], j.number[:0]
	for r := range j.s.rows {
		k := j.s.number[r]
		f := stiffstring.PartialHz(j.f1, j.b, k)
		if f > 0.46*j.s.fs || j.most > 0 && r >= j.most {
			break
		}
		if r > 0 && j.uncertain(r)*j.length(r) > j.lobe() {
			continue
		}
		// A partial that turns far within a block, because the stiffness was thought to be another, is
		// all but lost in it.
		if math.Abs(2*math.Pi*f/j.s.fs-j.s.omega[r])*float64(j.s.length) > 1.5 {
			continue
		}
		j.active = append(j.active, r)
		j.number = append(j.number, k)
	}
	j.lookAt()
	j.diagonal = j.separable()
	j.stale = true
	return j.fresh()
}

// lobe returns how uncertain the frequency of a partial may be that takes part, in units of the width of its
// main lobe, the inverse of its length. Where the fit is bound, priors hold a partial that the first steps
// cannot place, and one left out would be noise to all others.
func (j *joint) lobe() float64 {
	if j.brief {
		return 0.6
	}
	return 0.3
}

// A sighting is what earlier windows have shown of a partial.
type sighting uint8

const (
	untried sighting = iota
	buried           // looked for, not found to stand out of the noise
	found            // its own frequency is known
)

// highest returns the number of rows up to the highest partial that was found.
func (j *joint) highest() int {
	for k := len(j.active) - 1; k >= 0; k-- {
		if r := j.active[k]; j.seen[r] == found {
			return r + 1
		}
	}
	return 0
}

// uncertain returns how far (Hz) the partial of row r may lie from where the model has it.
func (j *joint) uncertain(r int) float64 {
	k := j.s.number[r]
	f := stiffstring.PartialHz(j.f1, j.b, k)
	byLaw := math.Hypot(stiffstring.PartialHzByB(j.f1, j.b, k)*j.sigmaB, f*(j.sigma+0.02)/stiffstring.CentsPerNeper)
	own := f / stiffstring.CentsPerNeper * j.offSigma[r]
	switch j.seen[r] {
	case found:
		return min(own, math.Hypot(byLaw, f/stiffstring.CentsPerNeper*stiffstring.ScatterSigma(k)))
	case buried: // where exactly does not matter
		return byLaw
	}
	return math.Hypot(byLaw, own)
}

// step makes one Gauss–Newton step. It reports false where there is nothing to fit, and sets settled
// and stale.
func (j *joint) step() bool {
	white := j.white
	j.waves()
	if j.brief {
		dc := j.stepWithPriors()
		j.settled = math.Abs(dc) < max(0.1*j.sigma, j.linear())
		return !math.IsNaN(dc)
	}
	if j.diagonal {
		j.separated()
	} else {
		j.project()
		j.free()
	}
	j.update()
	dc, db, ok := j.fitLaw(false)
	if !ok || math.IsNaN(dc) {
		return false
	}
	dc = max(-40, min(40, dc))
	j.f1 *= math.Exp(dc / stiffstring.CentsPerNeper)
	db = max(-1e-4, min(0.05, j.b+db)) - j.b
	j.b += db
	j.followDeviations(dc, db)
	// A step of f1 alone says little of what it leaves: partials that scatter pull it to and fro. But where
	// the last steps have still lowered the noise, where the model explains the sound badly, or in a window
	// of a few periods, the noise to judge by is not known.
	j.settled, j.stale = math.Abs(dc) < max(0.1*j.sigma, j.linear()), true
	poor := j.white*float64(j.s.samples()) > 0.1*j.s.energy
	judged := j.live && j.carried && j.diagonal && !poor
	if judged {
		j.settled, j.stale = white > 0 && 2*j.white > white, false
	}
	for k, r := range j.active {
		turn := 2 * math.Pi * (j.hz(k) - j.before[k])
		// Amplitudes were found with each partial turning about its own centroid.
		j.c[r] *= cmplx.Rect(1, -turn*j.centre[k])
		if judged {
			j.judge(k, turn)
		}
	}
	return true
}

// judge looks at how far the step has moved active partial k, which has turned by turn rad/s: it clears
// settled where the final fit, one more step, would not do, and sets stale where what leaks from it into
// the blocks of others is another now.
func (j *joint) judge(k int, turn float64) {
	strength := Power(j.c[j.active[k]]) * j.mass[k] / (4 * j.rho[k]) // its energy in units of the noise
	amplitude := j.grown[k]
	rate := math.Hypot(turn, j.slowed[k]) * j.width[k]
	const cross = 1.0 / (math.Pi * separateLive) // what the matrix leaves out
	next := rate * (rate/2 + amplitude/2 + cross)
	last := next * (next/2 + cross)
	if strength*last*last > 0.01 {
		j.settled = false
	}
	if leak := cross * math.Hypot(rate, amplitude); strength*leak*leak > 0.1 {
		j.stale = true
	}
}

// followDeviations lets each partial go off the law as far as its own data say against the scatter
// expected of it (the mean of its deviation given both).
func (j *joint) followDeviations(dc, db float64) {
	na := len(j.active)
	for k, r := range j.active {
		n := j.number[k]
		v, t := j.devCov[k*na+k], stiffstring.ScatterSigma(n)*stiffstring.ScatterSigma(n)
		limit := stiffstring.CentsPerNeper * 0.3 / (j.length(r) * stiffstring.PartialHz(j.f1, j.b, n))
		law := dc + db*j.slopeB[k]
		want := law + (j.dev[k]-law)*t/(v+t) - j.off[r]
		j.off[r] = j.followed(j.off[r]+max(-limit, min(limit, want))-law, n)
		if v < t {
			j.offSigma[r] = math.Sqrt(v*t/(v+t))*1.5 + 0.03
			j.seen[r] = found
		} else if j.seen[r] == untried {
			j.seen[r] = buried
		}
	}
}
