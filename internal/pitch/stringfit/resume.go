package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
)

// A trajectory is what the residuals of a window say beyond its fit.
type trajectory struct {
	ready     bool    // the fit still stands as it was
	adopted   bool    // its model has been moved to what the residuals say
	warp      warp    // the movement of the pitch that they show
	off, offB float64 // [cents] f1 and B that go with it, against those of the fit
	misfit    float64 // see phaseResiduals.misfit
	meanWarp  float64 // [s] mean of warp over the window
}

// adopt moves the model of the last fit to what its phase residuals say.
func (f *Fitter) adopt() {
	l, s := &f.trajectory, &f.series
	if !l.ready {
		return
	}
	f.times = scratch.Grow(f.times, s.n)
	l.meanWarp = 0
	for b, t := range s.t {
		f.times[b] = l.warp.psi(s.middle()+t*f.SampleRate, f.SampleRate)
		l.meanWarp += f.times[b] / float64(s.n)
	}
	for b := range f.times {
		f.times[b] -= l.meanWarp
	}
	f.residuals.apply(&f.joint, l.off, l.offB, f.times)
	l.ready, l.adopted = false, true
}

// resumable reports whether the model of the last fit may be a fair start for the window [from, to): one
// in which partials lie far apart, and that holds most of the last one and is not much longer, so that
// phases carried on into it are still right to a fraction of a turn.
func (f *Fitter) resumable(from, to int, w warp) bool {
	s, j := &f.series, &f.joint
	if !f.trajectory.adopted || f.trajectory.warp != w || len(j.active) == 0 {
		return false
	}
	m := int64(f.Bank.M)
	begin, end := f.Bank.First+int64(from)*m, f.Bank.First+int64(to)*m
	length, last := end-begin, int64(s.samples())
	common := min(end, s.start+last) - max(begin, s.start)
	return 2*common >= last && length <= 2*last && float64(length)/f.SampleRate*j.f1 > resumeBins
}

// resumeBins is how many bins of the window partials must lie apart for one step to be enough.
const resumeBins = 13

// resume takes the last step of a fit to the sub-blocks [from, to) of the bank under the warp w, beginning
// with the whole model of the last fit. It reports false if that knows nothing yet of a partial that the
// window holds.
func (f *Fitter) resume(from, to int, k Start, m Motion, w warp) bool {
	s, j := &f.series, &f.joint
	middle, half, late := s.middle(), s.half, f.trajectory.meanWarp
	f.trajectory.adopted = false
	f.gather(from, to, j.f1, j.b, m, w)
	j.sigma, j.sigmaB = k.SigmaCents, k.SigmaB
	if len(j.c) < s.rows || j.choose() || len(j.active) == 0 {
		return false
	}
	ahead := (s.middle() - middle) / f.SampleRate // of the middle, s
	for i, r := range j.active {
		// Amplitudes are those at the window's loudest end, phases those at its middle.
		loudest := ahead + j.loudest(r)
		if j.alpha[r] < 0 {
			loudest -= half
		} else {
			loudest += half
		}
		w := 2 * math.Pi * j.hz(i)
		j.c[r] *= cmplx.Rect(1, w*(ahead+s.late-late)) * complex(math.Exp(-j.alpha[r]*loudest), 0)
		j.alpha[r] = j.allowed(j.alpha[r])
	}
	j.scatter = 0
	j.residuals()
	if !j.law() {
		return false
	}
	j.white = max((s.energy-j.signal)/float64(s.samples()), 1e-6*s.energy/float64(s.samples()))
	return true
}
