package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A fittedWindow is a window of a note's sound and the last fit to it.
type fittedWindow struct {
	series series
	joint  joint
	warp   warp      // the movement of the pitch that the fit was made along
	heard  []Partial // that the last reading was of, of which not all are known so well as to be in it

	Hz       float64  // the pitch asked for
	Variance Variance // of it, the scatter of single partials counted as noise
	Fitted   bool     // the last fit succeeded, and all of joint belongs to it
}

// NoisyStart reports whether the first so many seconds of the window hold much more that the model does not
// explain than later ones.
func (w *fittedWindow) NoisyStart(seconds float64) bool {
	const much = 2 // times what later ones hold
	s := &w.series
	burst := int(math.Round(seconds * w.series.fs / float64(s.length)))
	if !w.Fitted || burst < 1 {
		return false
	}
	var early, later float64
	for k := range w.joint.basis.part {
		for i, v := range w.joint.rest.left[k*s.n : (k+1)*s.n] {
			if i < burst {
				early += Power(v)
			} else {
				later += Power(v)
			}
		}
	}
	return early*float64(s.n-burst) > much*later*float64(burst)
}

// Brief reports whether the window of the last fit was so short that its priors hold it.
func (w *fittedWindow) Brief() bool { return w.joint.solver == bound }

// LawHz returns the frequency of partial 1 under the law of the last fit, the pitch of its whole window.
func (w *fittedWindow) LawHz() float64 { return w.joint.model.f1 }

// LawSigma returns its standard uncertainty in cents.
func (w *fittedWindow) LawSigma() float64 { return w.joint.model.sigma }

// unexplained returns the part of the window's energy that the last fit leaves.
func (w *fittedWindow) unexplained() float64 { return max(0, 1-w.joint.signal/w.series.energy) }

// missesPartials reports whether the fit has found a place for no more than the given number of partials, although
// there are others.
func (w *fittedWindow) missesPartials(most int) bool {
	m, n := &w.joint.model, len(w.joint.basis.part)
	return n <= most && n < w.series.rows && stiffstring.PartialHz(m.f1, m.b, max(2, n)) < searchedHz*w.series.fs
}

// near reports whether the fit has stayed with the note that it began from.
func (w *fittedWindow) near(k Start) bool {
	return math.Abs(stiffstring.Cents(w.Hz, k.F1Hz)) < GuessLimit
}
