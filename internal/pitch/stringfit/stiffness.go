package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// How B is looked for: values that are tried at most, standard deviations about what is expected, the highest partial
// that is looked at, how far (bins) it moves from one value to the next, and to what part of a bin the best value tells
// where it lies.
const (
	stiffSteps = 120
	stiffRange = 2.5
	stiffTop   = 6
	stepOfBin  = 0.25
	toldOfBin  = 0.15
)

// searchedHz is the part of the sample rate up to which partials are looked for.
const searchedHz = 0.45

// topSearched returns the number, most at most, of the highest partial of a string of f1 and b that is looked for.
func topSearched(f1, b float64, most int, fs float64) int {
	top := 2
	for top < most && stiffstring.PartialHz(f1, b, top+1) < searchedHz*fs {
		top++
	}
	return top
}

// stiffen looks for the stiffness of a high string whose f1 is known from its lowest partial alone: in a
// window of some periods the prior of B leaves the others anywhere within several bins. It returns k with
// the B under which the partials hold most of the power of x, and how well that tells it.
func (k Start) stiffen(x []float64, fs float64) Start {
	span := float64(len(x)) / fs
	low, high := max(0, k.B-stiffRange*k.SigmaB), k.B+stiffRange*k.SigmaB
	top := topSearched(k.F1Hz, high, stiffTop, fs)
	step := stepOfBin / (span * stiffstring.PartialHzByB(k.F1Hz, high, top))
	n := min(stiffSteps, int((high-low)/step)+1)
	step = (high - low) / float64(n)
	var most float64
	best := k.B
	for i := range n {
		b := low + (float64(i)+0.5)*step
		var sum float64
		for number := 2; number <= top; number++ {
			sum += hannPower(x, 2*math.Pi*stiffstring.PartialHz(k.F1Hz, b, number)/fs)
		}
		if sum > most {
			most, best = sum, b
		}
	}
	// That is as good as the lowest of the other partials has been told, or the step.
	k.B, k.SigmaB = best, max(step, toldOfBin/(span*stiffstring.PartialHzByB(k.F1Hz, best, top)))
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
