package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// stiffSteps is how many values of B are tried at most.
const stiffSteps = 120

// stiffen looks for the stiffness of a high string whose f1 is known from its lowest partial alone: in a
// window of some periods the prior of B leaves the others anywhere within several bins. It returns k with
// the B under which the partials hold most of the power of x, and how well that tells it.
func (f *Fitter) stiffen(x []float64, k Start) Start {
	span := float64(len(x)) / f.SampleRate
	low, high := max(0, k.B-2.5*k.SigmaB), k.B+2.5*k.SigmaB
	top := 2
	for top < 6 && stiffstring.PartialHz(k.F1Hz, high, top+1) < 0.45*f.SampleRate {
		top++
	}
	// A step moves the highest of them by a quarter of a bin.
	step := 0.25 / (span * stiffstring.PartialHzByB(k.F1Hz, high, top))
	n := min(stiffSteps, int((high-low)/step)+1)
	step = (high - low) / float64(n)
	var most float64
	best := k.B
	for i := range n {
		b := low + (float64(i)+0.5)*step
		var sum float64
		for number := 2; number <= top; number++ {
			sum += hannPower(x, 2*math.Pi*stiffstring.PartialHz(k.F1Hz, b, number)/f.SampleRate)
		}
		if sum > most {
			most, best = sum, b
		}
	}
	// That is as good as the lowest of the other partials has been told, or the step.
	k.B, k.SigmaB = best, max(step, 0.15/(span*stiffstring.PartialHzByB(k.F1Hz, best, top)))
	return k
}

// hannPower returns the power of x at omega (rad/sample) under a Hann window, in no unit.
func hannPower(x []float64, omega float64) float64 {
	var re, im float64
	s, c := math.Sincos(omega)
	ws, wc := math.Sincos(2 * math.Pi / float64(len(x)))
	u, v := 1.0, 0.0
	p, q := 1.0, 0.0
	for _, a := range x {
		a *= 1 - p
		re += a * u
		im += a * v
		u, v = u*c-v*s, u*s+v*c
		p, q = p*wc-q*ws, p*ws+q*wc
	}
	return re*re + im*im
}
