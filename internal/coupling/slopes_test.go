package coupling

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
)

// TestSlopesByDifferences holds the derivatives of the pull against gonum's central differences of it, on
// supports of every kind.
func TestSlopesByDifferences(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, support := range Supports() {
		strs := make([]String, 7)
		for i := range strs {
			strs[i] = String{EA: 1e4 * (1 + rng.Float64()), LengthMM: 700, SoundingMM: 600, TensionN: 50 + 30*rng.Float64(), LimitCents: 66, Place: float64(i)}
		}
		p, err := NewPrior(support, strs)
		if err != nil {
			t.Fatal(err)
		}
		y := p.mean()
		for i, sd := range p.sd() {
			y[i] += sd * rng.NormFloat64()
		}
		const hand = 2
		want := mat.NewDense(len(strs), p.count(), nil)
		fd.Jacobian(want, func(dst, y []float64) {
			r := p.respond(y)
			for j := range dst {
				dst[j] = r.pull(j, hand)
			}
		}, y, &fd.JacobianSettings{Formula: fd.Central})
		got := p.slopes(p.respond(y), hand)
		for j := range strs {
			for o := range y {
				if math.Abs(got.At(j, o)-want.At(j, o)) > 1e-7 {
					t.Errorf("%s: ∂R_%d/∂y_%d is %.8f, by differences %.8f", support, j, o, got.At(j, o), want.At(j, o))
				}
			}
		}
	}
}
