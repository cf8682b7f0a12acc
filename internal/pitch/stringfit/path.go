package stringfit

import (
	"math"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A pitchPath is a fitted window together with how the pitch moved within it, as far as the phases show that the
// fit has left.
type pitchPath struct {
	fittedWindow

	planned    warp       // the movement that the last fit suggests for the next
	plannedOff float64    // [cents] the pitch that planned settles to, against Hz
	trajectory trajectory // what the phase residuals of the last fit say

	residuals phaseResiduals
	left      track        // what all partials together lead the model by
	whole     track        // the same with the warp that the fit was made along: all the movement
	beside    track        // left, less the glide that was found
	curve     [2][]float64 // work space: shapes of a movement, by block
	times     []float64    // [s] work space, by block
}

// A track is by how much time the phases of a note lead, block by block.
type track struct {
	shift  []float64 // [s]
	weight []float64 // [1/s²] inverse variance
}

// grow makes room for n blocks.
func (t *track) grow(n int) { t.shift, t.weight = scratch.Grow(t.shift, n), scratch.Grow(t.weight, n) }

// A trajectory is what the residuals of a window say beyond its fit.
type trajectory struct {
	state     trajectoryState
	warp      warp    // the movement of the pitch that they show
	off, offB float64 // [cents] f1 and B that go with it, against those of the fit
	misfit    float64 // see phaseResiduals.misfit
	meanWarp  float64 // [s] mean of warp over the window
}

// A trajectoryState says what has become of a trajectory.
type trajectoryState uint8

const (
	spent   trajectoryState = iota // none, or the fit it was of is no more
	ready                          // the fit stands as it was
	adopted                        // the model of the fit has been moved to it
)

// computeTracks computes from the last fit by how much the phases lead, block by block.
func (p *pitchPath) computeTracks() {
	n := p.series.n
	p.left.grow(n)
	p.residuals.take(&p.joint, &p.left)
	p.whole.shift = scratch.Grow(p.whole.shift, n)
	for i, s := range p.left.shift {
		p.whole.shift[i] = s + p.series.psi[i]
	}
	p.whole.weight = p.left.weight
	p.beside.shift = append(p.beside.shift[:0], p.left.shift...)
	p.beside.weight = append(p.beside.weight[:0], p.left.weight...)
	for m := range p.curve {
		p.curve[m] = scratch.Grow(p.curve[m], n)
	}
}

// adopt moves the model of the last fit to what its phase residuals say.
func (p *pitchPath) adopt() {
	l, s := &p.trajectory, &p.series
	if l.state != ready {
		return
	}
	p.times = scratch.Grow(p.times, s.n)
	l.meanWarp = 0
	for b, t := range s.t {
		p.times[b] = l.warp.psi(s.middle()+t*s.fs, s.fs)
		l.meanWarp += p.times[b] / float64(s.n)
	}
	for b := range p.times {
		p.times[b] -= l.meanWarp
	}
	p.residuals.apply(&p.joint, l.off, l.offB, p.times)
	l.state = adopted
}

// change returns the largest difference in bend between two warps over the window, in seconds:
// what is left after an offset and a slope are taken off at the window's ends and middle.
func (p *pitchPath) change(a, b warp) float64 {
	s := &p.series
	d := func(x float64) float64 {
		at := s.middle() + x*s.half*s.fs
		return b.psi(at, s.fs) - a.psi(at, s.fs)
	}
	bow := math.Abs(d(0) - (d(-1)+d(1))/2)
	early := math.Abs(d(-0.5) - (d(-1)+d(0))/2)
	return max(bow, early)
}

// fewestBlocks is how many blocks must tell of a movement for one to be looked for.
const fewestBlocks = 8

// driftDoubt is the square of the standard errors by which a drift must stand out.
const driftDoubt = 25

// estimateDrift finds a drift: quadratic and cubic warps about the middle of the window, each only if
// it stands out by more than five standard errors, and sets Hz to the pitch at the middle. In a window
// that shows a pitch to a thousandth of a cent a real drift stands out by far; one that is not there
// costs several times σ.
func (p *pitchPath) estimateDrift() warp {
	s := &p.series
	for i, t := range s.t {
		p.curve[0][i] = t * t
		p.curve[1][i] = t * t * t
	}
	next := warp{middle: s.middle()}
	plain, ok := p.whole.line(s.t, nil)
	if !ok || plain.used < fewestBlocks {
		return p.keep()
	}
	best, scale := plain, plain.misfit(0)
	quad, ok := p.whole.line(s.t, p.curve[:1])
	if ok && quad.extra[0]*quad.extra[0] > driftDoubt*quad.misfit(1)*quad.extraVar[0] {
		best, scale = quad, quad.misfit(1)
		next.quad = quad.extra[0]
	}
	both, ok := p.whole.line(s.t, p.curve[:])
	if ok && both.extra[1]*both.extra[1] > driftDoubt*both.misfit(2)*both.extraVar[1] {
		best, scale = both, both.misfit(2)
		next.quad, next.cubic = both.extra[0], both.extra[1]
	}
	p.Hz = p.joint.model.f1 * (1 + best.slope - p.bias())
	p.Variance = p.joint.variance
	p.Variance.Movement += square(stiffstring.CentsPerNeper) * max(0, scale*best.slopeVar-plain.slopeVar)
	return next
}

// line fits a line over t, and the movements g, to a track.
func (t *track) line(times []float64, g [][]float64) (line, bool) {
	return fitLine(times, t.shift, t.weight, g)
}

// misfit returns by how much the values lie further from a line with so many extra terms than their weights say; 1 at
// least.
func (l *line) misfit(terms int) float64 { return max(1, l.chi2/float64(l.used-2-terms)) }

// bias returns the slope that the track of time shows although the joint fit, which weighs the
// same data better, has already set it to zero: what the track says of the pitch counts from there.
func (p *pitchPath) bias() float64 {
	l, ok := p.left.line(p.series.t, nil)
	if !ok {
		return 0
	}
	return l.slope
}

// keep is the answer of estimateDrift when the window is too poor to see any movement.
func (p *pitchPath) keep() warp {
	s := &p.series
	p.Hz, p.Variance = p.joint.model.f1*(1+p.warp.rate(s.middle(), s.fs)), p.joint.variance
	return p.warp
}

// addGlideUncertainty lets σ admit the movement that a window of two periods does not show.
func (p *pitchPath) addGlideUncertainty(m Motion) {
	if m == Settles {
		p.Variance.Glide += HiddenGlide * HiddenGlide
	}
}
