package stringfit

import "tunerd/internal/stiffstring"

// A Partial is one tracked partial of the sounding note.
type Partial struct {
	N          int     // 1 is the lowest of the stiff-string series; 0 if it belongs to no string
	Hz         float64 // as measured
	OffCents   float64 // measured against the fitted law of the whole note
	SigmaCents float64 // standard uncertainty of Hz, in cents
	LevelDB    float64 // peak amplitude, dB re full scale
	PhaseTurns float64 // absolute phase of the partial at sample Result.At, in turns [0, 1)

	Margin float64 // dB by which it is louder than what would just be heard
}

// A Result is what a fit to a window says.
type Result struct {
	At int64 // sample index at which phases are told

	F1Hz       float64  // of partial 1 under the fitted law
	SigmaCents float64  // standard uncertainty of F1Hz, in cents
	Variance   Variance // what that is made of
	Partial1Hz float64  // the lowest partial as measured; 0 if it is not heard
	B          float64  // inharmonicity: f_k = k·f0·sqrt(1+B·k²)
	BSigma     float64
	SNRdB      float64 // power of the partials over the residual in the whole band
	WindowS    float64 // length of the sound that the pitch was fitted to, s
	Partials   []Partial

	Odds     float64 // [nepers] of a string against peaks that lie anywhere, where the lowest partial is not heard
	Residual float64 // mean square of what the fit did not explain
}

// MoveTo moves a reading, partials and all, to the pitch f1.
func (r *Result) MoveTo(f1 float64) {
	by := f1 / r.F1Hz
	r.F1Hz = f1
	r.Partial1Hz *= by
	for i := range r.Partials {
		r.Partials[i].Hz *= by
	}
}

// placedCents is how far (cents) a partial may lie off the law of its string, beside what its own error makes of it.
const placedCents = 3

// Placed reports whether the frequency of p is known so well that it is no other partial of a string.
func (p *Partial) Placed() bool {
	return 2*(placedCents+2*p.SigmaCents)*float64(p.N) < stiffstring.CentsPerNeper/2
}
