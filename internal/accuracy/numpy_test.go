package accuracy

import (
	"math/bits"
	"testing"
)

// numpyUniform returns the first n values of numpy.random.default_rng(seed).random(), so that a
// table computed with numpy can be recomputed with the same phases: SeedSequence's hash into the
// state of M. O'Neill's PCG XSL-RR 128/64 (numpy's "PCG64"). Both from memory of their sources;
// TestNumpyUniform has the known first values.
func numpyUniform(seed uint32, n int) []float64 {
	words := seedWords(seed)
	mul := [2]uint64{0x2360ED051FC65DA4, 0x4385DF649FCCF645}
	inc := [2]uint64{words[2]<<1 | words[3]>>63, words[3]<<1 | 1}
	state := add128([2]uint64{words[0], words[1]}, inc)
	state = add128(mul128(state, mul), inc)
	out := make([]float64, n)
	for i := range out {
		state = add128(mul128(state, mul), inc)
		u := bits.RotateLeft64(state[0]^state[1], -int(state[0]>>58))
		out[i] = float64(u>>11) / (1 << 53)
	}
	return out
}

func add128(a, b [2]uint64) [2]uint64 {
	lo, carry := bits.Add64(a[1], b[1], 0)
	hi, _ := bits.Add64(a[0], b[0], carry)
	return [2]uint64{hi, lo}
}

func mul128(a, b [2]uint64) [2]uint64 {
	hi, lo := bits.Mul64(a[1], b[1])
	return [2]uint64{hi + a[0]*b[1] + a[1]*b[0], lo}
}

// seedWords is SeedSequence(seed).generate_state(4, uint64).
func seedWords(seed uint32) (words [4]uint64) {
	constant := uint32(0x43b0d7e5)
	hash := func(v uint32) uint32 {
		v ^= constant
		constant *= 0x931e8875
		v *= constant
		return v ^ v>>16
	}
	pool := [4]uint32{hash(seed), hash(0), hash(0), hash(0)}
	for src := range pool {
		for dst := range pool {
			if src != dst {
				mixed := 0xca01f9dd*pool[dst] - 0x4973f715*hash(pool[src])
				pool[dst] = mixed ^ mixed>>16
			}
		}
	}
	constant = 0x8b51f9dd
	for i := range 8 {
		v := pool[i%4] ^ constant
		constant *= 0x58f38ded
		v *= constant
		words[i/2] |= uint64(v^v>>16) << (32 * (i % 2))
	}
	return words
}

// First values of numpy.random.default_rng(seed).random(), from memory.
func TestNumpyUniform(t *testing.T) {
	for seed, want := range map[uint32]float64{0: 0.6369616873214543, 42: 0.7739560485559633} {
		if got := numpyUniform(seed, 1)[0]; got != want {
			t.Errorf("seed %d: %.16f, want %.16f", seed, got, want)
		}
	}
}
