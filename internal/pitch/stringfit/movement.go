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
func (p *pitchPath) RunWithin() Run { return p.runOf(&p.whole) }

// RunBesideGlide returns what the run is when the glide that was found is taken out.
func (p *pitchPath) RunBesideGlide() Run { return p.runOf(&p.beside) }

// runOf returns the run that a track shows. It is sure if it is more than a
// third of a cent from the mean, and beyond doubt.
func (p *pitchPath) runOf(t *track) Run {
	const (
		least  = 0.6 // cents at the ends
		doubt  = 9.0 // variances
		blocks = 8   // that tell
	)
	unknown := Run{math.NaN(), true}
	if !p.Fitted {
		return unknown
	}
	s := &p.series
	for i, u := range s.t {
		p.curve[0][i] = u * u
	}
	l, ok := t.line(s.t, p.curve[:1])
	if !ok || l.used < blocks {
		return unknown
	}
	scale := l.misfit(1)
	cents := 2 * math.Abs(l.extra[0]) * s.half * stiffstring.CentsPerNeper
	return Run{cents, cents > least && l.extra[0]*l.extra[0] > doubt*scale*l.extraVar[0]}
}

// PitchBetween returns the pitch (Hz) from some to some other seconds after an onset at sample index onset, from
// the track of time of the last fit; 0 if that does not cover it.
func (p *pitchPath) PitchBetween(onset, fromS, toS float64) float64 {
	const blocks = 4 // that must lie there
	s := &p.series
	p.times = scratch.Grow(p.times, s.n)
	covered := 0
	for b, at := range s.t {
		p.times[b] = 0
		if age := (s.middle()-onset)/p.series.fs + at; age > fromS && age < toS {
			p.times[b] = p.whole.weight[b]
			covered++
		}
	}
	l, ok := fitLine(s.t, p.whole.shift, p.times, nil)
	if !ok || covered < blocks {
		return 0
	}
	return p.joint.model.f1 * (1 + l.slope - p.bias())
}

// GlideAtStart returns how far (cents) the pitch of the last fit lies above the settled one where its window
// begins, and whether it glides at all.
func (p *pitchPath) GlideAtStart() (cents float64, glides bool) {
	if p.warp.depth == 0 {
		return 0, false
	}
	return p.warp.rate(p.series.middle()-p.series.half*p.series.fs, p.series.fs) * stiffstring.CentsPerNeper, true
}

// PlannedBetween returns how far (cents) from the last pitch the glide that was found lets it lie on average
// between two sample indexes.
func (p *pitchPath) PlannedBetween(then, now float64) float64 {
	return p.plannedOff + (p.planned.psi(now, p.series.fs)-p.planned.psi(then, p.series.fs))*p.series.fs/(now-then)*stiffstring.CentsPerNeper
}

// glideAfter returns what is left of a glide (cents) so many seconds after its onset.
func (w warp) glideAfter(s float64) float64 {
	const shortest = 1e-3 // s, of a time constant
	return w.depth * math.Exp(-s/max(w.tau, shortest))
}

// Retune points the bank at the partials of the last fit, beginning at sample index first.
func (f *Fitter) Retune(first int64) { f.Tune(f.joint.model.f1, f.joint.model.b, first) }

// PlannedDepth returns the depth (cents) of the glide that was found last.
func (p *pitchPath) PlannedDepth() float64 { return p.planned.depth }

// PlannedGlideAfter returns what is left of that glide (cents) so many seconds after the onset.
func (p *pitchPath) PlannedGlideAfter(s float64) float64 { return p.planned.glideAfter(s) }
