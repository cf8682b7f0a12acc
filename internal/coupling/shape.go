package coupling

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A shape is how a support gives in one way, as a matrix without unit: entry ij is the movement at string i
// for a pull at string j.

// alike returns the shape of one bridge that moves as a whole.
func alike(n int) *mat.SymDense {
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, 1)
		}
	}
	return s
}

// tilt returns the shape of a support that turns about its middle: v·vᵀ with v from −1 at the first place
// to 1 at the last.
func tilt(places []float64) *mat.SymDense {
	lo, hi := places[0], places[len(places)-1]
	v := mat.NewVecDense(len(places), nil)
	for i, p := range places {
		if hi != lo {
			v.SetVec(i, 2*(p-lo)/(hi-lo)-1)
		}
	}
	s := mat.NewSymDense(len(places), nil)
	s.SymOuterK(1, v)
	return s
}

// Beam returns the shape of a long beam on an elastic bed, as soundboards and frames give: near strings more
// than far ones. Places are those of the strings along it, in order and in the unit of reach.
//
//	B_ij = e^−ρ·(cos ρ + sin ρ),   ρ = |place_i − place_j| / reach
//
// Source: M. Hetényi, Beams on Elastic Foundation (1946), from memory; its Fourier transform is positive,
// so the matrix is.
func Beam(places []float64, reach float64) *mat.SymDense {
	n := len(places)
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			r := math.Abs(places[i]-places[j]) / reach
			s.SetSym(i, j, math.Exp(-r)*(math.Cos(r)+math.Sin(r)))
		}
	}
	return s
}
