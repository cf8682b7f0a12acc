package stiffstring

import "math"

// A Prior is what is known of a number before it is measured: a normal distribution.
type Prior struct{ Mean, Sigma float64 }

// StiffnessPrior returns a wide prior of B for a string of any instrument that sounds at f1 (Hz).
// Strings of guitars, basses, violins and the lower piano lie between 0 and 4e-4, and B grows
// towards the top of a piano to about 2e-2 (orders of magnitude: R. W. Young, J. Acoust. Soc.
// Am. 24 (1952) 267). Three sigma cover that; wind and bowed strings (B = 0) too.
func StiffnessPrior(f1 float64) Prior {
	top := math.Pow(f1/2000, 1.8) * 4e-3
	return Prior{Mean: 6e-5 + top/4, Sigma: LowStiffnessSigma + top}
}

// LowStiffnessSigma is how far (one σ) the B of a string below the treble is expected from what was given
// for it, or from what is usual.
const LowStiffnessSigma = 2.5e-4

// ScatterSigma returns how far (cents, one σ) partial k of a real string is expected off the law before
// anything is measured: partials 4 and up keep to about 0.3 cent, the lowest often lie several cents off
// (body and bridge coupling, pull of pickup magnets). Own measurement on the recordings in testdata/wav,
// rounded up.
func ScatterSigma(k int) float64 {
	switch k {
	case 1:
		return 5
	case 2:
		return 2
	case 3:
		return 1
	}
	return 0.5
}

// ScatterWidth returns the half width (cents) of the distribution, a Cauchy one, that partial k of a real
// string keeps about the law: narrow for the upper ones, wider for the lowest, heavy tails for all. Own
// measurement on the recordings in testdata/wav.
func ScatterWidth(k int) float64 {
	switch k {
	case 1:
		return 1
	case 2:
		return 0.6
	case 3:
		return 0.4
	}
	return UpperScatterWidth
}

// UpperScatterWidth is [ScatterWidth] of partials 4 and up.
const UpperScatterWidth = 0.3

// CommonScatter is how far all partials of a string move in common for each unit of their scatter, in widths of
// partials 4 and up: what their spread about the law cannot show. Measured on the plucks in testdata/wav, from
// second differences of the pitch in windows of 0.3 s: 0.19 cents, 0.6 widths (median of 40). It is about what a
// second polarisation a quarter as strong does.
const CommonScatter = 0.6
