package stringfit

import (
	"math"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// What is expected of a glide before anything is measured: plucked strings glide down by up to some
// tens of cents within some tenths of a second. Tension falls with the square of the amplitude, so twice
// as fast as the amplitudes of the lower partials do at first, by 2 to 8 nepers a second (from memory).
const (
	GlideSigma     = 12.0 // cents, of its depth
	glideTau       = 0.18 // s, time constant
	glideTauSpread = 0.6  // standard deviation of its natural logarithm
	glideTauMin    = 0.03 // s, the shortest tried
	glideTauMax    = 0.9  // s, the longest
	glideTaus      = 9    // how many are tried at first, evenly spaced by their logarithm
	// glideTauSharp is the standard deviation of the logarithm of a time constant up to which it is told well
	// enough for one, the likeliest, to stand for all; wider than that it is hardly better known than before.
	glideTauSharp = 0.5
	// glideSure is the evidence for a glide at which the pitch is taken to settle where the glide
	// says; with less, the pitch shown is that of a steady string, and σ admits the glide.
	glideSure = 0.9
)

// An explanation is one of what the partials lead by within a window: a steady pitch, or a
// glide with one time constant.
type explanation struct {
	warp     warp
	off      float64 // [cents] settled pitch against that of the joint fit
	offB     float64 // stiffness against that of the joint fit
	variance float64 // [cents²] of off
	evidence float64 // logarithm, against that of a steady pitch
}

// glide finds the pitch that the window settles to after an onset at sample index onset. A steady
// pitch and glides of all time constants are weighed by their evidence: how well they explain what the
// partials lead by, how much of what was expected they leave over. Hz is the pitch of the likelier
// kind, and σ admits what the other kind would make of it.
func (p *pitchPath) glide(onset float64) warp {
	s := &p.series
	plain, ok := p.residuals.fitMovement(nil, nil)
	if !ok || s.n < fewestBlocks {
		return p.unseen()
	}
	p.times = scratch.Grow(p.times, s.n)
	for b, t := range s.t {
		p.times[b] = max(0, (s.middle()-onset)/s.fs+t)
	}
	var moves [glideTaus]movement
	likeliest, tau, isSharp := p.sharpen(p.warp.tau, p.warp.depth)
	if !isSharp {
		if likeliest, tau, isSharp, ok = p.search(&moves); !ok {
			return p.unseen()
		}
	}
	scale := p.besideGlide(tau, likeliest)
	var tried [glideTaus + 1]explanation
	all := append(tried[:0], explanation{off: plain.off, offB: plain.offB, variance: scale * plain.offVar})
	add := func(m movement, tau, evidence float64) {
		evidence += -0.5*((m.chi2-plain.chi2)/scale+m.logDet-plain.logDet) - math.Log(GlideSigma) + 0.5*math.Log(scale) + falling(m, scale)
		all = append(all, explanation{warp{depth: m.extra[0], tau: tau, onset: onset}, m.off, m.offB, scale * m.offVar, evidence})
	}
	if isSharp {
		// Laplace's integral over the logarithm of tau.
		add(likeliest, tau, 0.5*math.Log(scale)-math.Log(glideTauSpread))
	} else {
		for i := firstTau; i < endTau; i++ {
			add(moves[i], tauOf(i), expected(tauOf(i)))
		}
	}
	return p.settle(all, plain)
}

// search fits glides of all time constants that are tried into moves and returns the likeliest, sharpened where the
// residuals tell its time constant. It reports false where one cannot be fitted.
func (p *pitchPath) search(moves *[glideTaus]movement) (likeliest movement, tau float64, isSharp, ok bool) {
	best := firstTau
	for i := firstTau; i < endTau; i++ {
		if moves[i], ok = p.gliding(tauOf(i), 0); !ok {
			return likeliest, 0, false, false
		}
		if moves[i].chi2 < moves[best].chi2 {
			best = i
		}
	}
	if likeliest, tau, isSharp = p.sharpen(tauOf(best), moves[best].extra[0]); !isSharp {
		likeliest, tau = moves[best], tauOf(best)
	}
	return likeliest, tau, isSharp, true
}

// besideGlide sets the track of what is left beside the glide m of time constant tau, and returns how much more that is
// than noise: it makes all explanations less sure.
func (p *pitchPath) besideGlide(tau float64, m movement) float64 {
	p.gliding(tau, 0) // its shape
	p.trajectory.misfit = p.residuals.misfit(m.extra[0], p.curve[0], &p.beside, 2)
	if m.extra[0] < 0 { // a pitch that rises is no string that settles
		p.residuals.misfit(0, p.curve[0], &p.beside, 0)
	}
	return max(1, p.trajectory.misfit)
}

// unseen is the answer of glide when the window is too poor to see one: σ admits it.
func (p *pitchPath) unseen() warp {
	p.addGlideUncertainty(Settles)
	return p.warp
}

// fitSteady notes what the residuals of a window say of a pitch that stands still.
func (p *pitchPath) fitSteady() {
	m, ok := p.residuals.fitMovement(nil, nil)
	p.trajectory.misfit = p.residuals.misfit(0, p.curve[0], &p.beside, 0)
	p.trajectory.warp, p.trajectory.off, p.trajectory.offB = warp{}, m.off, m.offB
	if ok {
		p.trajectory.state = ready
	}
	p.Variance.Movement += square(p.meanUncertainty())
}

// meanUncertainty returns by how much (cents) the mean pitch of the window may lie from the slope through its phases:
// the mean is what they gained from end to end, and at either end they stray from the slope as elsewhere. What
// noise does to them is in σ.
func (p *pitchPath) meanUncertainty() float64 {
	const noise = 2 // mean square up to which it may be all there is
	if p.trajectory.misfit <= noise {
		return 0
	}
	var sum, weight float64
	for b, w := range p.beside.weight {
		sum += w * p.beside.shift[b] * p.beside.shift[b]
		weight += w
	}
	square := sum / weight * (1 - noise/p.trajectory.misfit)
	return stiffstring.CentsPerNeper * math.Sqrt(2*square) / (2 * p.series.half)
}

// settle sets hz and σ from the explanations, the first of which is a steady pitch, and returns the
// warp that is likeliest.
func (p *pitchPath) settle(all []explanation, plain movement) warp {
	top := all[0].evidence
	for _, a := range all {
		top = max(top, a.evidence)
	}
	var sum, off float64
	best := 1
	for i, a := range all[1:] {
		chance := math.Exp(a.evidence - top)
		sum += chance
		off += chance * a.off
		if a.evidence > all[best].evidence {
			best = i + 1
		}
	}
	steady := math.Exp(all[0].evidence - top)
	sure := sum > glideSure*(sum+steady)
	shown := all[0].off
	if sure {
		shown = off / sum
	}
	var variance float64
	for _, a := range all {
		d := a.off - shown
		variance += math.Exp(a.evidence-top) * (d*d + a.variance)
	}
	variance /= sum + steady
	p.Hz = p.joint.model.f1 * math.Exp(shown/stiffstring.CentsPerNeper)
	p.Variance = p.joint.variance
	p.Variance.Glide += max(0, variance-plain.offVar)
	if !sure && steady > sum {
		best = 0
	}
	p.plannedOff = all[best].off - shown
	p.trajectory.warp, p.trajectory.off, p.trajectory.offB = all[best].warp, all[best].off, all[best].offB
	p.trajectory.state = ready
	return all[best].warp
}

// expected returns the logarithm of the part of all glides whose time constant is nearest to tau of those
// that are tried.
func expected(tau float64) float64 {
	z := math.Log(tau/glideTau) / glideTauSpread
	return -0.5*z*z + math.Log(tauStep/(glideTauSpread*math.Sqrt(2*math.Pi)))
}

// gliding fits a glide of one time constant to the residuals. If about is the depth (cents) that is known of it,
// tau may move too, to first order: the second of the movement's extra terms is the change of ln(tau)
// times that depth. At 0, tau stays.
func (p *pitchPath) gliding(tau, about float64) (movement, bool) {
	shape, slope := p.curve[0], p.curve[1]
	for b, t := range p.times {
		e := tau / stiffstring.CentsPerNeper * math.Exp(-t/tau)
		shape[b] = -e
		slope[b] = -e * (1 + t/tau) // d/d(ln tau)
	}
	prior := [2]expectation{{weight: 1 / (GlideSigma * GlideSigma)}}
	if about != 0 {
		prior[1] = expectation{about * math.Log(glideTau/tau), 1 / (about * about * glideTauSpread * glideTauSpread)}
		return p.residuals.fitMovement(p.curve[:], prior[:])
	}
	return p.residuals.fitMovement(p.curve[:1], prior[:1])
}

// tauStep is the step of the logarithm from one time constant that is tried to the next.
var tauStep = math.Log(glideTauMax/glideTauMin) / (glideTaus - 1)

// tauOf returns time constant i, in seconds.
func tauOf(i int) float64 { return glideTauMin * math.Exp(tauStep*float64(i)) }

// How a time constant is looked for: steps at most, the step of its logarithm that is the last, and the depth (cents)
// below which a glide has none.
const (
	sharpenSteps = 8
	sharpEnough  = 1e-3
	leastDepth   = 0.05
)

// sharpen looks for the likeliest time constant near tau (s; 0: none is known) and depth (cents), by
// Gauss-Newton. It reports whether the residuals tell its logarithm to within glideTauSharp. The settled pitch then
// knows about the uncertainty of tau.
func (p *pitchPath) sharpen(tau, depth float64) (m movement, best float64, sharp bool) {
	if !sharpens || !(tau > 0) {
		return m, tau, false
	}
	for range sharpenSteps {
		if depth < leastDepth {
			return m, tau, false
		}
		var ok bool
		if m, ok = p.gliding(tau, depth); !ok {
			return m, tau, false
		}
		by := max(-tauStep, min(tauStep, m.extra[1]/depth))
		depth = m.extra[0]
		tau *= math.Exp(by)
		if tau < glideTauMin || tau > glideTauMax {
			return m, tau, false
		}
		if math.Abs(by) < sharpEnough {
			// The second term is in units of depth times ln(tau): the volume in ln(tau) is larger by the depth.
			m.logDet += 2 * math.Log(depth)
			return m, tau, depth >= leastDepth && math.Sqrt(m.extraVar[1]) < glideTauSharp*depth
		}
	}
	return m, tau, false
}

// falling returns the logarithm of how likely it is that the glide of m goes down, as glides do,
// given what was measured of its depth, times two.
func falling(m movement, scale float64) float64 {
	const leastChance = 1e-30 // keeps the logarithm finite
	z := m.extra[0] / math.Sqrt(scale*m.extraVar[0])
	return math.Log(max(leastChance, math.Erfc(-z/math.Sqrt2)))
}
