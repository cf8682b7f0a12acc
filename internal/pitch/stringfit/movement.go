package stringfit

import (
	"math"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A Run is how far a pitch runs away within a window.
type Run struct {
	Cents float64 // from the middle to the ends; NaN where that cannot be told
	Sure  bool    // it runs, beyond doubt, or nothing can be told
}

// Or returns the run in cents, or another where that cannot be told.
func (r Run) Or(other float64) float64 {
	if math.IsNaN(r.Cents) {
		return other
	}
	return r.Cents
}

// RunWithin returns the run of the pitch within the window of the last fit.
func (f *Fitter) RunWithin() Run { return f.runOf(f.wholeTrack, f.trackWeight) }

// RunBesideGlide returns what the run is when the glide that was found is taken out.
func (f *Fitter) RunBesideGlide() Run { return f.runOf(f.residualTrack, f.residualWeight) }

// runOf returns the run that a track of time with its inverse variances shows. It is sure if it is more than a
// third of a cent from the mean, and beyond doubt.
func (f *Fitter) runOf(track, weight []float64) Run {
	const (
		least  = 0.6 // cents at the ends
		doubt  = 9.0 // variances
		blocks = 8   // that tell
	)
	unknown := Run{math.NaN(), true}
	if !f.Fitted {
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
	return Run{cents, cents > least && l.extra[0]*l.extra[0] > doubt*scale*l.extraVar[0]}
}

// NoisyStart reports whether the first so many seconds of the window hold much more that the model does not
// explain than later ones.
func (f *Fitter) NoisyStart(seconds float64) bool {
	const much = 2 // times what later ones hold
	s := &f.series
	burst := int(math.Round(seconds * f.SampleRate / float64(s.length)))
	if !f.Fitted || burst < 1 {
		return false
	}
	var early, later float64
	for k := range f.joint.active {
		for i, v := range f.joint.left[k*s.n : (k+1)*s.n] {
			if i < burst {
				early += Power(v)
			} else {
				later += Power(v)
			}
		}
	}
	return early*float64(s.n-burst) > much*later*float64(burst)
}

// PitchBetween returns the pitch (Hz) from some to some other seconds after an onset at sample index onset, from
// the track of time of the last fit; 0 if that does not cover it.
func (f *Fitter) PitchBetween(onset, fromS, toS float64) float64 {
	s := &f.series
	f.times = scratch.Grow(f.times, s.n)
	covered := 0
	for b, at := range s.t {
		f.times[b] = 0
		if age := (s.middle()-onset)/f.SampleRate + at; age > fromS && age < toS {
			f.times[b] = f.trackWeight[b]
			covered++
		}
	}
	l, ok := fitLine(s.t, f.wholeTrack, f.times, nil)
	if !ok || covered < 4 {
		return 0
	}
	return f.joint.f1 * (1 + l.slope - f.bias())
}

// GlideAtStart returns how far (cents) the pitch of the last fit lies above the settled one where its window
// begins, and whether it glides at all.
func (f *Fitter) GlideAtStart() (cents float64, glides bool) {
	if f.warp.depth == 0 {
		return 0, false
	}
	return f.warp.rate(f.series.middle()-f.series.half*f.SampleRate, f.SampleRate) * stiffstring.CentsPerNeper, true
}

// PlannedBetween returns how far (cents) from the last pitch the glide that was found lets it lie on average
// between two sample indexes.
func (f *Fitter) PlannedBetween(then, now float64) float64 {
	return f.plannedOff + (f.planned.psi(now, f.SampleRate)-f.planned.psi(then, f.SampleRate))*f.SampleRate/(now-then)*stiffstring.CentsPerNeper
}

// glideAfter returns what is left of a glide (cents) so many seconds after its onset.
func (w warp) glideAfter(s float64) float64 {
	const shortest = 1e-3 // s, of a time constant
	return w.depth * math.Exp(-s/max(w.tau, shortest))
}

// Retune points the bank at the partials of the last fit, beginning at sample index first.
func (f *Fitter) Retune(first int64) { f.Tune(f.joint.f1, f.joint.b, first) }

// Brief reports whether the window of the last fit was so short that its priors hold it.
func (f *Fitter) Brief() bool { return f.joint.brief }

// LawHz returns the frequency of partial 1 under the law of the last fit, the pitch of its whole window.
func (f *Fitter) LawHz() float64 { return f.joint.f1 }

// LawSigma returns its standard uncertainty in cents.
func (f *Fitter) LawSigma() float64 { return f.joint.sigma }

// PlannedDepth returns the depth (cents) of the glide that was found last.
func (f *Fitter) PlannedDepth() float64 { return f.planned.depth }

// PlannedGlideAfter returns what is left of that glide (cents) so many seconds after the onset.
func (f *Fitter) PlannedGlideAfter(s float64) float64 { return f.planned.glideAfter(s) }
