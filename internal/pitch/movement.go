package pitch

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A run is how far a pitch runs away within a window.
type run struct {
	cents float64 // from the middle to the ends; NaN where that cannot be told
	sure  bool    // it runs, beyond doubt, or nothing can be told
}

// or returns the run in cents, or another where that cannot be told.
func (r run) or(other float64) float64 {
	if math.IsNaN(r.cents) {
		return other
	}
	return r.cents
}

// runWithin returns the run of the pitch within the window of the last fit.
func (f *fitter) runWithin() run { return f.runOf(f.total, f.weight) }

// runBesideGlide returns what the run is when the glide that was found is taken out.
func (f *fitter) runBesideGlide() run { return f.runOf(f.rest, f.restWeight) }

// runOf returns the run that a track of time with its inverse variances shows. It is sure if it is more than a
// third of a cent from the mean, and beyond doubt.
func (f *fitter) runOf(track, weight []float64) run {
	const (
		least  = 0.6 // cents at the ends
		doubt  = 9.0 // variances
		blocks = 8   // that tell
	)
	unknown := run{math.NaN(), true}
	if !f.fitted {
		return unknown
	}
	s := &f.series
	for i, u := range s.t {
		f.curve[0][i] = u * u
	}
	l, ok := fitLine(s.t, track, weight, [][]float64{f.curve[0]})
	if !ok || l.used < blocks {
		return unknown
	}
	scale := max(1, l.chi2/float64(l.used-3))
	cents := 2 * math.Abs(l.extra[0]) * s.half * stiffstring.CentsPerNeper
	return run{cents, cents > least && l.extra[0]*l.extra[0] > doubt*scale*l.extraVar[0]}
}

// noisyStart reports whether the first so many seconds of the window hold much more that the model does not
// explain than later ones.
func (f *fitter) noisyStart(seconds float64) bool {
	const much = 2 // times what later ones hold
	s := &f.series
	burst := int(math.Round(seconds * f.fs / float64(s.length)))
	if !f.fitted || burst < 1 {
		return false
	}
	var early, later float64
	for k := range f.joint.active {
		for i, v := range f.joint.left[k*s.n : (k+1)*s.n] {
			if i < burst {
				early += power(v)
			} else {
				later += power(v)
			}
		}
	}
	return early*float64(s.n-burst) > much*later*float64(burst)
}

// pitchBetween returns the pitch (Hz) from some to some other seconds after an onset at sample index onset, from
// the track of time of the last fit; 0 if that does not cover it.
func (f *fitter) pitchBetween(onset, fromS, toS float64) float64 {
	s := &f.series
	f.times = grow(f.times, s.n)
	covered := 0
	for b, at := range s.t {
		f.times[b] = 0
		if age := (s.middle()-onset)/f.fs + at; age > fromS && age < toS {
			f.times[b] = f.weight[b]
			covered++
		}
	}
	l, ok := fitLine(s.t, f.total, f.times, nil)
	if !ok || covered < 4 {
		return 0
	}
	return f.joint.f1 * (1 + l.slope - f.bias())
}

// glideAtStart returns how far (cents) the pitch of the last fit lies above the settled one where its window
// begins, and whether it glides at all.
func (f *fitter) glideAtStart() (cents float64, glides bool) {
	if f.warp.depth == 0 {
		return 0, false
	}
	return f.warp.rate(f.series.middle()-f.series.half*f.fs, f.fs) * stiffstring.CentsPerNeper, true
}

// plannedBetween returns how far (cents) from the last pitch the glide that was found lets it lie on average
// between two sample indexes.
func (f *fitter) plannedBetween(then, now float64) float64 {
	return f.plannedOff + (f.planned.psi(now, f.fs)-f.planned.psi(then, f.fs))*f.fs/(now-then)*stiffstring.CentsPerNeper
}

// glideAfter returns what is left of a glide (cents) so many seconds after its onset.
func (w warp) glideAfter(s float64) float64 {
	const shortest = 1e-3 // s, of a time constant
	return w.depth * math.Exp(-s/max(w.tau, shortest))
}

// retune points the bank at the partials of the last fit, beginning at sample index first.
func (f *fitter) retune(first int64) { f.tune(f.joint.f1, f.joint.b, first) }
