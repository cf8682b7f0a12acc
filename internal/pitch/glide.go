package pitch

import "math"

// What is expected of a glide before anything is measured: plucked strings glide down by up to some
// tens of cents within some tenths of a second (tension falls with the square of the amplitude).
const (
	glideSigma  = 12.0 // cents, of its depth
	glideTauMin = 0.03 // s
	glideTauMax = 0.9  // s
	glideTaus   = 9    // time constants tried at first, evenly spaced by their logarithm
	// glideSure is the evidence for a glide at which the pitch is taken to settle where the glide
	// says; with less, the pitch shown is that of a steady string, and σ admits the glide.
	glideSure = 0.9
)

// A settling is one explanation of the track of time within a window: a steady pitch, or a glide
// with one time constant.
type settling struct {
	warp     warp
	slope    float64 // of the settled pitch, as a part of f1
	variance float64 // of slope
	evidence float64 // logarithm, against that of a steady pitch
}

// glide finds the pitch that the window settles to after an onset at sample index onset. A steady
// pitch and glides of all time constants are weighed by their evidence: how well they explain the
// track, how much of what was expected they leave over. hz is the pitch of the likelier kind, and
// σ admits what the other kind would make of it.
func (f *fitter) glide(onset float64) warp {
	s := &f.series
	plain, ok := fitLine(s.t, f.total, f.weight, nil, nil)
	if !ok || plain.used < 8 {
		return f.keep()
	}
	f.times = grow(f.times, s.n)
	for b, t := range s.t {
		f.times[b] = math.Max(0, (s.middle()-onset)/f.fs+t)
	}
	var tried [glideTaus + 1]settling
	var lines [glideTaus]line
	step := math.Log(glideTauMax/glideTauMin) / (glideTaus - 1)
	smallest, best := plain.chi2, 0
	for i := range lines {
		if lines[i], ok = f.gliding(glideTauMin*math.Exp(step*float64(i)), false); !ok {
			return f.keep()
		}
		if lines[i].chi2 < lines[best].chi2 {
			best = i
		}
	}
	sharp, tau, isSharp := f.sharpen(glideTauMin*math.Exp(step*float64(best)), step, lines[best])
	smallest = math.Min(smallest, lines[best].chi2)
	if isSharp {
		smallest = math.Min(smallest, sharp.chi2)
	}
	// What no glide explains makes all explanations less sure.
	scale := math.Max(1, smallest/float64(plain.used-3))
	weigh := func(l line) float64 {
		return -0.5*((l.chi2-plain.chi2)/scale+l.logDet-plain.logDet) - math.Log(glideSigma) + 0.5*math.Log(scale) + falling(l, scale)
	}
	all := tried[:0]
	all = append(all, settling{slope: plain.slope, variance: scale * plain.slopeVar})
	if isSharp {
		// Laplace's integral over the logarithm of tau, evenly likely within its range.
		area := 0.5*math.Log(2*math.Pi*scale) - math.Log(step*(glideTaus-1))
		all = append(all, settling{warp{depth: sharp.extra[0], tau: tau, onset: onset},
			sharp.slope, scale * sharp.slopeVar, weigh(sharp) + area})
	} else {
		for i, l := range lines {
			all = append(all, settling{warp{depth: l.extra[0], tau: glideTauMin * math.Exp(step*float64(i)), onset: onset},
				l.slope, scale * l.slopeVar, weigh(l) - math.Log(glideTaus)})
		}
	}
	return f.settle(all, plain)
}

// settle sets hz and σ from the explanations, the first of which is a steady pitch, and returns the
// warp that is likeliest.
func (f *fitter) settle(all []settling, plain line) warp {
	top := all[0].evidence
	for _, a := range all {
		top = math.Max(top, a.evidence)
	}
	var sum, slope float64
	best := 1
	for i, a := range all[1:] {
		p := math.Exp(a.evidence - top)
		sum += p
		slope += p * a.slope
		if a.evidence > all[best].evidence {
			best = i + 1
		}
	}
	steady := math.Exp(all[0].evidence - top)
	sure := sum > glideSure*(sum+steady)
	shown := all[0].slope
	if sure {
		shown = slope / sum
	}
	var variance float64
	for _, a := range all {
		d := a.slope - shown
		variance += math.Exp(a.evidence-top) * (d*d + a.variance)
	}
	variance /= sum + steady
	f.hz = f.joint.f1 * (1 + shown - f.bias())
	f.sigma = math.Hypot(f.joint.sigma, centsPerNeper*math.Sqrt(math.Max(0, variance-plain.slopeVar)))
	if !sure && steady > sum {
		return warp{}
	}
	return all[best].warp
}

// gliding fits a line and a glide of one time constant to the track; with free, tau may move too, to
// first order: the second of the line's extra terms is the change of ln(tau) times the depth.
func (f *fitter) gliding(tau float64, free bool) (line, bool) {
	shape, slope := f.curve[0], f.curve[1]
	for b, t := range f.times {
		e := tau / centsPerNeper * math.Exp(-t/tau)
		shape[b] = -e
		slope[b] = -e * (1 + t/tau) // d/d(ln tau)
	}
	prior := 1 / (glideSigma * glideSigma)
	if free {
		return fitLine(f.series.t, f.total, f.weight, [][]float64{shape, slope}, []float64{prior, 0})
	}
	return fitLine(f.series.t, f.total, f.weight, [][]float64{shape}, []float64{prior})
}

// sharpen looks for the time constant near tau that fits best, by Gauss-Newton. It reports whether
// the track tells it well: to within half a step of its logarithm. The line's slope then knows about
// the uncertainty of tau.
func (f *fitter) sharpen(tau, step float64, l line) (line, float64, bool) {
	if l.extra[0] < 0.05 {
		return l, tau, false
	}
	from := tau
	for range 4 {
		free, ok := f.gliding(tau, true)
		if !ok || math.Abs(free.extra[0]) < 1e-3 {
			return l, tau, false
		}
		by := free.extra[1] / free.extra[0]
		if !(math.Sqrt(free.extraVar[1]) < 0.5*step*math.Abs(free.extra[0])) || math.Abs(math.Log(tau/from)+by) > 2*step {
			return l, tau, false
		}
		tau *= math.Exp(by)
		l = free
		if math.Abs(by) < 1e-3 {
			break
		}
	}
	// The second term is in units of depth times ln(tau): the volume in ln(tau) is larger by the depth.
	l.logDet += 2 * math.Log(math.Abs(l.extra[0]))
	return l, tau, true
}

// falling returns the logarithm of how likely it is that the glide of l goes down, as glides do,
// given what was measured of its depth, times two.
func falling(l line, scale float64) float64 {
	z := l.extra[0] / math.Sqrt(scale*l.extraVar[0])
	return math.Log(math.Max(1e-30, math.Erfc(-z/math.Sqrt2)))
}
