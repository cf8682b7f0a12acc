package stiffstring

import "math"

// A Prior is what is known of a number before it is measured: a normal distribution.
type Prior struct{ Mean, Sigma float64 }

// StiffnessPrior returns a wide prior of B for a string of any instrument that sounds at f1 (Hz).
// Strings of guitars, basses, violins and the lower piano lie between 0 and 4e-4, and B grows
// towards the top of a piano to about 2e-2 (orders of magnitude: R. W. Young, J. Acoust. Soc.
// Am. 24 (1952) 267). Three sigma cover that; wind and bowed strings (B = 0) too.
func StiffnessPrior(f1 float64) Prior {
	const (
		usual    = 6e-5 // below the treble
		trebleHz = 2000 // where that of a piano's treble is
		treble   = 4e-3
		power    = 1.8 // of the pitch with which it grows
		meanPart = 4   // its part in the mean, a quarter: chosen
	)
	top := math.Pow(f1/trebleHz, power) * treble
	return Prior{Mean: usual + top/meanPart, Sigma: LowStiffnessSigma + top}
}

// LowStiffnessSigma is how far (one σ) the B of a string below the treble is expected from what was given
// for it, or from what is usual.
const LowStiffnessSigma = 2.5e-4

// ScatterSigma returns how far (cents, one σ) partial k of a real string is expected off the law before
// anything is measured: partials 4 and up keep to about 0.3 cent, the lowest often lie several cents off
// (body and bridge coupling, pull of pickup magnets). Own measurement on the recordings in testdata/wav,
// rounded up.
func ScatterSigma(k int) float64 {
	if k <= len(lowScatterSigma) {
		return lowScatterSigma[k-1]
	}
	return upperScatterSigma
}

// lowScatterSigma is [ScatterSigma] of partials 1 to 3, upperScatterSigma that of those from 4 up.
var lowScatterSigma = [...]float64{5, 2, 1}

const upperScatterSigma = 0.5

// ScatterWidth returns the half width (cents) of the distribution, a Cauchy one, that partial k of a real
// string keeps about the law: narrow for the upper ones, wider for the lowest, heavy tails for all. Own
// measurement on the recordings in testdata/wav.
func ScatterWidth(k int) float64 {
	if k <= len(lowScatterWidth) {
		return lowScatterWidth[k-1]
	}
	return UpperScatterWidth
}

// lowScatterWidth is [ScatterWidth] of partials 1 to 3.
var lowScatterWidth = [...]float64{1, 0.6, 0.4}

// UpperScatterWidth is [ScatterWidth] of partials 4 and up.
const UpperScatterWidth = 0.3

// CommonScatter is how far all partials of a string move in common for each unit of their scatter, in widths of
// partials 4 and up: what their spread about the law cannot show. Measured on the plucks in testdata/wav, from
// second differences of the pitch in windows of 0.3 s: 0.19 cents, 0.6 widths (median of 40). It is about what a
// second polarisation a quarter as strong does.
const CommonScatter = 0.6
