package pitch

// Again is Estimate for a note of which there is a reading already, such as a live one of the same
// pluck: its pitch is known to some cents, and its stiffness. That of a stiff string cannot be
// guessed well enough for its upper partials to be found in a long window at once.
func (e *WindowEstimator) Again(x []float64, r *Reading) (Reading, bool) {
	k := first(r.F1Hz, guessSigma)
	if r.B > 0 && r.BSigma > 0 {
		k.b, k.sigmaB = r.B, min(k.sigmaB, 5*r.BSigma+0.02*r.B)
	}
	return e.around(0, x, k)
}
