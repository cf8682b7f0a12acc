package engine

import (
	"math"

	"tunerd/internal/display"
	"tunerd/internal/pitch"
)

// SigmaTerms returns the terms of a variance in cents, as they are shown.
func SigmaTerms(v pitch.Variance) display.SigmaTerms {
	return display.SigmaTerms{
		Noise: math.Sqrt(v.Noise), Scatter: math.Sqrt(v.Scatter), Stiffness: math.Sqrt(v.Stiffness),
		Glide: math.Sqrt(v.Glide), Movement: math.Sqrt(v.Movement), Vibrato: math.Sqrt(v.Vibrato),
		Unmodelled: math.Sqrt(v.Unmodelled),
	}
}
