package stringfit

import (
	"math"

	"tunerd/internal/scratch"
)

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

// lawVariance returns the variance of f1 in the last fit of the law: known is what it would be if B were known.
func (j *joint) lawVariance(known, common float64) Variance {
	return Variance{Noise: known, Stiffness: max(0, j.sigma*j.sigma-known), Scatter: common * common}
}

// split tells, in a variance of the last fit of the law, noise from the scatter of single partials: what is left
// of its noise if each partial kept to the law. Where priors hold the fit the two are not told apart.
func (j *joint) split(v Variance) Variance {
	if j.brief || j.scatter == 0 {
		return v
	}
	noise := j.noiseAlone()
	if noise < v.Noise {
		v.Noise, v.Scatter = noise, v.Scatter+v.Noise-noise
	}
	return v
}

// noiseAlone returns the variance (cents²) that f1 would have, B known, if the partials kept to the law.
func (j *joint) noiseAlone() float64 {
	na := len(j.active)
	j.weights, j.work = scratch.Grow(j.weights, na*na), scratch.Grow(j.work, na)
	copy(j.weights, j.devCov)
	one := j.work
	for k := range one {
		one[k] = 1
	}
	if j.diagonal {
		for k := range one {
			one[k] /= math.Sqrt(j.weights[k*na+k])
		}
	} else {
		factorReal(j.weights, na)
		forwardReal(j.weights, na, one)
	}
	var info float64
	for _, v := range one {
		info += v * v
	}
	return 1 / info
}

func square(x float64) float64 { return x * x }
