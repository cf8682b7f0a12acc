package stringfit

import "math"

// A Variance says what the uncertainty of a pitch is made of, in cents²: terms that have nothing to do with each
// other, so that they add up. The sum is the square of σ.
type Variance struct {
	Noise      float64 // what hiss and hum around the partials make of it
	Scatter    float64 // partials of a real string lie off its law, and move in common
	Stiffness  float64 // B is not known
	Glide      float64 // a pluck may still be settling, or by more than its simple law holds
	Movement   float64 // the pitch drifts, runs or is being turned
	Vibrato    float64 // it swings
	Unmodelled float64 // what no window of a real string is free of
}

// SigmaCents returns the standard uncertainty in cents. Every σ of a pitch is decided here.
func (v Variance) SigmaCents() float64 {
	return math.Sqrt(v.Noise + v.Scatter + v.Stiffness + v.Glide + v.Movement + v.Vibrato + v.Unmodelled)
}

// Plus returns the sum of two variances.
func (v Variance) Plus(w Variance) Variance {
	return Variance{
		Noise: v.Noise + w.Noise, Scatter: v.Scatter + w.Scatter, Stiffness: v.Stiffness + w.Stiffness,
		Glide: v.Glide + w.Glide, Movement: v.Movement + w.Movement, Vibrato: v.Vibrato + w.Vibrato,
		Unmodelled: v.Unmodelled + w.Unmodelled,
	}
}

// Decide sets what the uncertainty of r is made of, and with it σ.
func (r *Result) Decide(v Variance) { r.Variance, r.SigmaCents = v, v.SigmaCents() }

func square(x float64) float64 { return x * x }
