package stringfit

import (
	"math"
	"math/cmplx"
	"slices"

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
	model     model          // the string, as it is believed so far
	basis     basis          // the partials that take part, as functions of time
	rest      remainder      // what the model leaves of the blocks
	equations equations      // of the free deviations
	bound     boundEquations // of a window of two periods
	law       lawFit         // f1 and B from the deviations

	most    int    // rows that may be active; 0: all
	carried bool   // the last fit was of the same note
	solver  solver // how steps are made in this window
	settled bool   // the last step was so small that the final fit makes up for what is left

	signal   float64   // energy in the window that the model explains
	white    float64   // noise power per sample, from the whole window
	quiet    float64   // noise power per sample where the last fit left little; 0: not known
	variance Variance  // of f1 in the final fit
	ratios   []float64 // work space
}

// A solver is a way to make a step of the fit, by how far apart partials lie in bins of the window.
type solver uint8

const (
	overlapping solver = iota // all partials in one system
	separate                  // each by itself
	bound                     // f1 and B are unknowns of one system with all partials, and priors hold it
)

// lobe returns how uncertain the frequency of a partial may be that takes part, in units of the width of its
// main lobe, the inverse of its length. Where the fit is bound, priors hold a partial that the first steps
// cannot place, and one left out would be noise to all others.
func (s solver) lobe() float64 {
	const free, held = 0.3, 0.6
	if s == bound {
		return held
	}
	return free
}

// begin points the fit at a window, with what is known of the string.
func (j *joint) begin(s *series, k *Start, live bool) {
	j.model.begin(s, k, live)
	j.basis.window = s
	j.basis.part = j.basis.part[:0]
	j.carried, j.most = k.carry, k.most
	j.solver = overlapping
	if j.model.bins() < briefPeriods {
		j.solver = bound
	}
	if !k.carry {
		j.quiet, j.white = 0, 0
	}
	j.law.scatter = 0
}

// How often partials are let in, and how many steps are made with the same ones. Both end long before.
const (
	mostStages = 12
	mostSteps  = 8
)

// converge runs the staged fit: only partials whose frequency is known well enough to lie in
// the main lobe of the window take part; each stage narrows f1 and B and lets in more. It
// reports whether a fit was reached.
func (j *joint) converge() bool {
	for stage := range mostStages {
		more := j.choose()
		if len(j.basis.part) == 0 {
			return false
		}
		if stage > 0 && !more {
			break
		}
		for pass := range mostSteps {
			if !j.step() {
				return false
			}
			// New partials have their amplitude from the first step, and the rest from the second.
			if pass > 0 && j.settled {
				break
			}
		}
	}
	return j.final()
}

// mostTurn is by how much (rad) a partial may turn within a block against its reference: one that turns further, because
// the stiffness was thought to be another, is all but lost in it.
const mostTurn = 1.5

// choose sets the active partials and reports whether some of them are new.
func (j *joint) choose() bool {
	m, s := &j.model, j.model.window
	active := j.basis.part[:0]
	for r := range s.rows {
		k := s.number[r]
		f := stiffstring.PartialHz(m.f1, m.b, k)
		if f > highestHz*s.fs || j.most > 0 && r >= j.most {
			break
		}
		if r > 0 && m.uncertain(r)*m.length(r) > j.solver.lobe() {
			continue
		}
		if math.Abs(2*math.Pi*f/s.fs-s.omega[r])*float64(s.length) > mostTurn {
			continue
		}
		active = append(active, activePartial{row: r, number: k, reference: s.reference(r)})
	}
	j.basis.part = active
	if j.solver != bound {
		j.solver = overlapping
		if m.separable() {
			j.solver = separate
		}
	}
	j.rest.stale = true
	return m.fresh(active)
}

// What is asked of a step before the final fit, itself a step, makes up for the rest.
const (
	settledSigma = 0.1  // of σ, that f1 moves by
	linearTurn   = 0.02 // rad that the highest partial turns by at the ends; what is neglected is its square
	poorFit      = 0.1  // part of the energy that the model leaves from which the noise to judge by is not known
	settledLoss  = 0.01 // energy that the final fit would leave, in units of the noise
	staleLeak    = 0.1  // energy by which what leaks has changed, in the same
)

// linear returns the step of f1 (cents) that turns the highest partial by so little at the ends of the
// window that the final fit takes it in one step.
func (j *joint) linear() float64 {
	return linearTurn / (2 * math.Pi * j.topHz() * j.model.window.half) * stiffstring.CentsPerNeper
}

// topHz returns the frequency of the highest partial that takes part under the law.
func (j *joint) topHz() float64 {
	m, part := &j.model, j.basis.part
	return stiffstring.PartialHz(m.f1, m.b, part[len(part)-1].number)
}

// step makes one Gauss–Newton step. It reports false where there is nothing to fit, and sets settled
// and what is stale.
func (j *joint) step() bool {
	m := &j.model
	white := j.white
	j.basis.compute(m)
	switch j.solver {
	case bound:
		dc := j.stepBound()
		j.settled = math.Abs(dc) < max(settledSigma*m.sigma, j.linear())
		return !math.IsNaN(dc)
	case separate:
		j.stepSeparate()
	default:
		j.stepOverlapping()
	}
	j.update()
	dc, db, ok := j.law.fit(m, false)
	if !ok || math.IsNaN(dc) {
		return false
	}
	dc = m.stepF1(dc)
	db = allowedB(m.b+db) - m.b
	m.b += db
	j.followDeviations(dc, db)
	j.settled, j.rest.stale = math.Abs(dc) < max(settledSigma*m.sigma, j.linear()), true
	judged := j.noiseKnown()
	if judged { // the final fit would not do while steps still lower the noise
		j.settled, j.rest.stale = white > 0 && 2*j.white > white, false
	}
	for k := range j.basis.part {
		p := &j.basis.part[k]
		turn := 2 * math.Pi * (m.hz(p.row, p.number) - p.hz)
		// Amplitudes were found with each partial turning about its own centroid.
		m.row[p.row].c *= cmplx.Rect(1, -turn*p.centre)
		if judged {
			j.judge(p, turn)
		}
	}
	return true
}

// noiseKnown reports whether a step may be judged by the noise. One of f1 alone says little of what it leaves:
// partials that scatter pull it to and fro. But where the model explains the sound badly, or in a window of a few
// periods, the noise to judge by is not known.
func (j *joint) noiseKnown() bool {
	m := &j.model
	poor := j.white*float64(m.window.samples()) > poorFit*m.window.energy
	return judgesNoise && m.live && j.carried && j.solver == separate && !poor
}

// leastBins is how many bins partials lie apart, at least, where a step is judged by the noise.
const leastBins = 5.0

// judge looks at how far the step has moved active partial p, which has turned by turn rad/s: it clears
// settled where the final fit, one more step, would not do, and sets stale where what leaks from it into
// the blocks of others is another now.
func (j *joint) judge(p *activePartial, turn float64) {
	strength := Power(j.model.row[p.row].c) * p.mass / 2 / 2 / p.rho // its energy in units of the noise
	rate := math.Hypot(turn, p.slowed) * p.width
	const cross = 1.0 / (math.Pi * leastBins) // what the matrix leaves out
	next := rate * (rate/2 + p.grown/2 + cross)
	last := next * (next/2 + cross)
	if strength*last*last > settledLoss {
		j.settled = false
	}
	if leak := cross * math.Hypot(rate, p.grown); strength*leak*leak > staleLeak {
		j.rest.stale = true
	}
}

// setNoise sets the power of the noise per sample from what the model leaves of the window's
// energy after this step, and the noise of every block accordingly.
func (j *joint) setNoise(explained float64) {
	s := j.model.window
	const perPartial, ofLaw = 4, 2 // numbers that the fit has taken from the samples
	free := max(1, float64(s.samples()-perPartial*len(j.basis.part)-ofLaw))
	// The difference of two large energies has few digits.
	j.white = max((s.energy-explained)/free, max(j.quiet/2, leastNoise*s.energy/float64(s.samples())))
	for k := range j.basis.part {
		j.basis.part[k].rho = j.white / float64(s.length)
	}
}

// leastNoise is the noise as a part of the energy (−60 dB) below which the difference of the two has no digits.
const leastNoise = 1e-6

// update takes over the changes of amplitude and decay that the solution of the equations asks for.
func (j *joint) update() {
	m, part := &j.model, j.basis.part
	na := len(part)
	for k := range part {
		p := &part[k]
		change := j.equations.rhs[k]
		perS := 2 * math.Pi * p.hz / stiffstring.CentsPerNeper
		v := j.law.cov[k*na+k] * perS * perS // [1/s²]
		a := m.stepDecay(p, -real(j.equations.rhs[na+k]*j.law.reach[k])*perS)
		a = m.allowed((a*decaySigma*decaySigma + decayMean*v) / (decaySigma*decaySigma + v))
		p.grown = math.Sqrt(Power(change) / (Power(m.row[p.row].c+change) + math.SmallestNonzeroFloat64))
		p.slowed = a - m.row[p.row].alpha
		m.grow(p, change, a)
	}
}

// followDeviations lets each partial go off the law as far as its own data say against the scatter
// expected of it (the mean of its deviation given both).
func (j *joint) followDeviations(dc, db float64) {
	m := &j.model
	for k := range j.basis.part {
		p := &j.basis.part[k]
		row := &m.row[p.row]
		v, t := j.law.variance(k), square(stiffstring.ScatterSigma(p.number))
		law := dc + db*p.slopeB
		want := law + (j.law.dev[k]-law)*t/(v+t) - row.off
		step := m.stepOff(p.row, stiffstring.PartialHz(m.f1, m.b, p.number), want)
		row.off = m.followed(row.off+step-law, p.number)
		if v < t {
			row.offSigma = carriedSigma(math.Sqrt(v * t / (v + t)))
			row.seen = found
		} else if row.seen == untried {
			row.seen = buried
		}
	}
}

// final makes the final fit: f1 and B from the deviations, with the noise found around each partial and the scatter of
// real partials about the law. It reports whether there is one.
func (j *joint) final() bool {
	j.lookAround()
	m := &j.model
	switch j.solver {
	case bound:
		return j.finalBound()
	case separate:
		j.finalSeparate()
	default:
		j.finalOverlapping()
	}
	dc, db, ok := j.law.fitScattered(m)
	if !ok {
		return false
	}
	m.f1 *= math.Exp(dc / stiffstring.CentsPerNeper)
	m.b += db
	// What scatters the partials (a second polarisation, the bridge) also moves them all a little in
	// common, which their spread about the law cannot show.
	j.decide(stiffstring.CommonScatter * j.law.scatter * stiffstring.UpperScatterWidth)
	return true
}

// decide sets the uncertainty of f1 after the final fit, where scatter moves all partials by common (cents).
func (j *joint) decide(common float64) {
	j.variance = j.law.varianceOf(j.model.sigma, common)
	j.model.sigma = j.variance.SigmaCents()
}

// split tells, in a variance of the final fit, noise from scatter, where the fit tells them apart.
func (j *joint) split(v Variance) Variance {
	if j.solver == bound || j.law.scatter == 0 {
		return v
	}
	return j.law.split(v)
}

// significant is the energy of a partial in the window, in units of the noise of one block, from which
// it is taken to be there.
const significant = 6

// leastFree is the part of the blocks of a partial that is taken to be free, at least: of them the fit has taken some.
const leastFree = 0.2

// lookAround replaces the white estimate of the noise by what is really left around each partial:
// noise there, and whatever the model does not hold (a second polarisation, hum, a wobble).
func (j *joint) lookAround() {
	m, b := &j.model, &j.basis
	b.compute(m)
	j.rest.isolate(m, b, j.white, false)
	j.rest.subtractOwn(m, b)
	n, na := b.window.n, len(b.part)
	for k := range b.part {
		var lost, left float64
		for _, f := range b.kernel[k*na : (k+1)*na] {
			lost += 2 * real(f) * real(f) // complex degrees of freedom that the fit took from these blocks
		}
		for _, v := range j.rest.left[k*n : (k+1)*n] {
			left += Power(v)
		}
		b.part[k].rho = left / max(float64(n)-lost, leastFree*float64(n))
	}
	j.forgetBuried()
}

// forgetBuried forgets what was found of partials that do not stand out of what is left around them, so that
// no later fit takes a peak of the noise for a partial, and keeps a low quartile of the noise.
func (j *joint) forgetBuried() {
	m, part := &j.model, j.basis.part
	j.ratios = j.ratios[:0]
	for k := range part {
		j.ratios = append(j.ratios, part[k].rho)
	}
	slices.Sort(j.ratios)
	const quartile = 4
	j.quiet = j.ratios[len(j.ratios)/quartile] * float64(m.window.length)
	for k := range part {
		p := &part[k]
		// An amplitude is twice what a block holds of it: its energy there is a quarter.
		if row := &m.row[p.row]; row.seen == found && Power(row.c)*p.mass/2/2 < significant*p.rho {
			m.forget(p.row)
			row.seen = buried
		}
	}
}
