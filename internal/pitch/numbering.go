package pitch

import (
	"math"

	"tunerd/internal/stiffstring"
)

// What the odds of a string must exceed (nepers) where its lowest partial is not heard.
const (
	newOdds   = -1.0 // to begin a note
	faintOdds = 3.0  // to begin one that explains little of the sound
	heldOdds  = -4.0 // to go on with a note
)

// numbered reports whether the numbers of the partials can be believed, of a note that is already held
// or of a new one. Where the lowest is heard they are not in doubt; else other things might ring so too.
func (r *Result) numbered(held bool) bool {
	loudest := r.loudest()
	if math.Abs(loudest.OffCents) > furthestOff+2*loudest.SigmaCents || !held && r.SNRdB < faintSNR {
		return false
	}
	switch {
	case r.lowestHeard():
		return true
	case held:
		return r.Odds > heldOdds
	case r.SNRdB < evidentSNR:
		return r.Odds > faintOdds
	}
	return r.Odds > newOdds
}

// stringy reports whether a string could be as stiff as r says.
func (r *Result) stringy() bool {
	p := stiffstring.StiffnessPrior(r.F1Hz)
	return r.B > -3*r.BSigma-1e-5 && r.B < p.Mean+4*p.Sigma+3*r.BSigma
}
