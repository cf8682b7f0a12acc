package acquire

import "math/rand/v2"

const (
	testSeed = 3
	testRate = 48000.0 // Hz
)

func newRand(stream uint64) *rand.Rand { return rand.New(rand.NewPCG(testSeed, stream)) }

// noise returns n samples of white noise of variance 1.
func noise(n int, stream uint64) []float64 {
	x, rng := make([]float64, n), newRand(stream)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}
