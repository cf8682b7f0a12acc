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

// A settling is one explanation of what the partials lead by within a window: a steady pitch, or a
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
// partials lead by, how much of what was expected they leave over. hz is the pitch of the likelier
// kind, and σ admits what the other kind would make of it.
func (f *Fitter) glide(onset float64) warp {
	s := &f.series
	plain, ok := f.residuals.fitMovement(nil, nil)
	if !ok || s.n < 8 {
		return f.unseen()
	}
	f.times = scratch.Grow(f.times, s.n)
	for b, t := range s.t {
		f.times[b] = max(0, (s.middle()-onset)/f.SampleRate+t)
	}
	var tried [glideTaus + 1]explanation
	var moves [glideTaus]movement
	likeliest, tau, isSharp := f.sharpen(f.warp.tau, f.warp.depth)
	if !isSharp {
		best := 0
		for i := range moves {
			if moves[i], ok = f.gliding(tauOf(i), 0); !ok {
				return f.unseen()
			}
			if moves[i].chi2 < moves[best].chi2 {
				best = i
			}
		}
		if likeliest, tau, isSharp = f.sharpen(tauOf(best), moves[best].extra[0]); !isSharp {
			likeliest, tau = moves[best], tauOf(best)
		}
	}
	// What no glide explains makes all explanations less sure.
	f.gliding(tau, 0)
	f.trajectory.misfit = f.residuals.misfit(likeliest.extra[0], f.curve[0], f.residualTrack, f.residualWeight, 2)
	scale := max(1, f.trajectory.misfit)
	if likeliest.extra[0] < 0 { // a pitch that rises is no string that settles
		f.residuals.misfit(0, f.curve[0], f.residualTrack, f.residualWeight, 0)
	}
	weigh := func(m movement) float64 {
		return -0.5*((m.chi2-plain.chi2)/scale+m.logDet-plain.logDet) - math.Log(GlideSigma) + 0.5*math.Log(scale) + falling(m, scale)
	}
	all := tried[:0]
	all = append(all, explanation{off: plain.off, offB: plain.offB, variance: scale * plain.offVar})
	if isSharp {
		// Laplace's integral over the logarithm of tau.
		area := 0.5*math.Log(scale) - math.Log(glideTauSpread)
		all = append(all, explanation{warp{depth: likeliest.extra[0], tau: tau, onset: onset},
			likeliest.off, likeliest.offB, scale * likeliest.offVar, weigh(likeliest) + area})
	} else {
		for i, m := range moves {
			all = append(all, explanation{warp{depth: m.extra[0], tau: tauOf(i), onset: onset},
				m.off, m.offB, scale * m.offVar, weigh(m) + expected(tauOf(i))})
		}
	}
	return f.settle(all, plain)
}

// EstimateGlide finds a glide in what the last fit, of a steady pitch, has left, as the first pass of a fit that allows
// for one would. It reports false, and changes nothing, if that fit was not to all of the bank.
func (f *Fitter) EstimateGlide(onset float64) bool {
	s := &f.series
	if !f.Fitted || f.joint.brief || s.start-f.Bank.First >= int64(s.length) {
		return false
	}
	f.planned = f.glide(onset)
	return true
}

// unseen is the answer of glide when the window is too poor to see one: σ admits it.
func (f *Fitter) unseen() warp {
	f.addGlideUncertainty(Settles)
	return f.warp
}

// fitSteady notes what the residuals of a window say of a pitch that stands still.
func (f *Fitter) fitSteady() {
	m, ok := f.residuals.fitMovement(nil, nil)
	f.trajectory.misfit = f.residuals.misfit(0, f.curve[0], f.residualTrack, f.residualWeight, 0)
	f.trajectory.warp = warp{}
	f.trajectory.ready, f.trajectory.off, f.trajectory.offB = ok, m.off, m.offB
	f.Variance.Movement += square(f.meanUncertainty())
}

// meanUncertainty returns by how much (cents) the mean pitch of the window may lie from the slope through its phases:
// the mean is what they gained from end to end, and at either end they stray from the slope as elsewhere. What
// noise does to them is in σ.
func (f *Fitter) meanUncertainty() float64 {
	const noise = 2 // mean square up to which it may be all there is
	if f.trajectory.misfit <= noise {
		return 0
	}
	var sum, weight float64
	for b, w := range f.residualWeight {
		sum += w * f.residualTrack[b] * f.residualTrack[b]
		weight += w
	}
	square := sum / weight * (1 - noise/f.trajectory.misfit)
	return stiffstring.CentsPerNeper * math.Sqrt(2*square) / (2 * f.series.half)
}

// settle sets hz and σ from the explanations, the first of which is a steady pitch, and returns the
// warp that is likeliest.
func (f *Fitter) settle(all []explanation, plain movement) warp {
	top := all[0].evidence
	for _, a := range all {
		top = max(top, a.evidence)
	}
	var sum, off float64
	best := 1
	for i, a := range all[1:] {
		p := math.Exp(a.evidence - top)
		sum += p
		off += p * a.off
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
	f.Hz = f.joint.f1 * math.Exp(shown/stiffstring.CentsPerNeper)
	f.Variance = f.joint.variance
	f.Variance.Glide += max(0, variance-plain.offVar)
	if !sure && steady > sum {
		best = 0
	}
	f.plannedOff = all[best].off - shown
	f.trajectory.warp = all[best].warp
	f.trajectory.ready, f.trajectory.off, f.trajectory.offB = true, all[best].off, all[best].offB
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
func (f *Fitter) gliding(tau, about float64) (movement, bool) {
	shape, slope := f.curve[0], f.curve[1]
	for b, t := range f.times {
		e := tau / stiffstring.CentsPerNeper * math.Exp(-t/tau)
		shape[b] = -e
		slope[b] = -e * (1 + t/tau) // d/d(ln tau)
	}
	prior := [2]expectation{{weight: 1 / (GlideSigma * GlideSigma)}}
	if about != 0 {
		prior[1] = expectation{about * math.Log(glideTau/tau), 1 / (about * about * glideTauSpread * glideTauSpread)}
		return f.residuals.fitMovement(f.curve[:], prior[:])
	}
	return f.residuals.fitMovement(f.curve[:1], prior[:1])
}

// tauStep is the step of the logarithm from one time constant that is tried to the next.
var tauStep = math.Log(glideTauMax/glideTauMin) / (glideTaus - 1)

// tauOf returns time constant i, in seconds.
func tauOf(i int) float64 { return glideTauMin * math.Exp(tauStep*float64(i)) }

// sharpen looks for the likeliest time constant near tau (s; 0: none is known) and depth (cents), by
// Gauss-Newton. It reports whether the residuals tell its logarithm to within glideTauSharp. The settled pitch then
// knows about the uncertainty of tau.
func (f *Fitter) sharpen(tau, depth float64) (m movement, best float64, sharp bool) {
	if !(tau > 0) {
		return m, tau, false
	}
	for range 8 {
		if depth < 0.05 {
			return m, tau, false
		}
		var ok bool
		if m, ok = f.gliding(tau, depth); !ok {
			return m, tau, false
		}
		by := max(-tauStep, min(tauStep, m.extra[1]/depth))
		depth = m.extra[0]
		tau *= math.Exp(by)
		if tau < glideTauMin || tau > glideTauMax {
			return m, tau, false
		}
		if math.Abs(by) < 1e-3 {
			// The second term is in units of depth times ln(tau): the volume in ln(tau) is larger by the depth.
			m.logDet += 2 * math.Log(depth)
			return m, tau, depth >= 0.05 && math.Sqrt(m.extraVar[1]) < glideTauSharp*depth
		}
	}
	return m, tau, false
}

// falling returns the logarithm of how likely it is that the glide of m goes down, as glides do,
// given what was measured of its depth, times two.
func falling(m movement, scale float64) float64 {
	z := m.extra[0] / math.Sqrt(scale*m.extraVar[0])
	return math.Log(max(1e-30, math.Erfc(-z/math.Sqrt2)))
}
