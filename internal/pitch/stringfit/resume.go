package stringfit

import (
	"math"
	"math/cmplx"
)

// resumable reports whether the model of the last fit may be a fair start for the window of samples [begin, end) under
// the warp w: one in which partials lie far apart, and that holds most of the last one and is not much longer, so that
// phases carried on into it are still right to a fraction of a turn.
func (p *pitchPath) resumable(begin, end int64, w warp) bool {
	s := &p.series
	if p.trajectory.state != adopted || p.trajectory.warp != w || len(p.joint.basis.part) == 0 {
		return false
	}
	length, last := end-begin, int64(s.samples())
	common := min(end, s.start+last) - max(begin, s.start)
	return 2*common >= last && length <= 2*last && float64(length)/s.fs*p.joint.model.f1 > resumeBins
}

// resumeBins is how many bins of the window partials must lie apart for one step to be enough.
const resumeBins = 13

// resume takes the last step of a fit to the sub-blocks [from, to) of the bank under the warp w, beginning
// with the whole model of the last fit. It reports false if that knows nothing yet of a partial that the
// window holds.
func (f *Fitter) resume(from, to int, k Start, m Motion, w warp) bool {
	s, j := &f.series, &f.joint
	b := &j.model
	middle, half, late := s.middle(), s.half, f.trajectory.meanWarp
	f.trajectory.state = spent
	f.gather(from, to, b.f1, b.b, m, w)
	b.sigma, b.sigmaB = k.SigmaCents, k.SigmaB
	if b.rows < s.rows || j.choose() || len(j.basis.part) == 0 {
		return false
	}
	ahead := (s.middle() - middle) / f.SampleRate // of the middle, s
	for i := range j.basis.part {
		p := &j.basis.part[i]
		row := &b.row[p.row]
		// Amplitudes are those at the window's loudest end, phases those at its middle.
		loudest := ahead + b.loudest(p.row)
		if row.alpha < 0 {
			loudest -= half
		} else {
			loudest += half
		}
		w := 2 * math.Pi * b.hz(p.row, p.number)
		row.c *= cmplx.Rect(1, w*(ahead+s.late-late)) * complex(math.Exp(-row.alpha*loudest), 0)
		row.alpha = b.allowed(row.alpha)
	}
	if !j.final() {
		return false
	}
	j.white = max((s.energy-j.signal)/float64(s.samples()), leastNoise*s.energy/float64(s.samples()))
	return true
}
