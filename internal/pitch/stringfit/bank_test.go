package stringfit

import (
	"fmt"
	"math/cmplx"
	"testing"

	"tunerd/internal/stiffstring"
)

// direct is the plain sum that a bank computes: Σ x[n]·exp(−iω(n−c)) over m samples, c their middle.
func direct(x []float64, omega float64) complex128 {
	var sum complex128
	c := float64(len(x)-1) / 2
	for n, v := range x {
		sum += cmplx.Rect(v, -omega*(float64(n)-c))
	}
	return sum
}

func TestBankIsTheDirectSum(t *testing.T) {
	omega := []float64{0, 1e-4, 0.02, 0.5, 1.7, 3.1}
	for m := 1; m <= 33; m++ {
		x := noise(5*m, uint64(m))
		b := newBank(m, len(omega)+2, 5) // more room than rows in use
		b.tune(omega, 17)
		for i := range 5 {
			if b.full() {
				t.Fatalf("m = %d: full after %d of 5 sub-blocks", m, i)
			}
			b.push(x[i*m:])
		}
		if !b.full() || b.First != 17 {
			t.Errorf("m = %d: full %v, first %d", m, b.full(), b.First)
		}
		for i := range 5 {
			block := x[i*m : (i+1)*m]
			var energy float64
			for _, v := range block {
				energy += v * v
			}
			if d := b.energy[i] - energy; d*d > 1e-20 {
				t.Errorf("m = %d, block %d: energy %g, want %g", m, i, b.energy[i], energy)
			}
			for r, w := range omega {
				if got, want := b.row(r, i), direct(block, w); cmplx.Abs(got-want) > 1e-12*float64(m) {
					t.Errorf("m = %d, ω = %g, block %d: %v, want %v", m, w, i, got, want)
				}
			}
		}
	}
}

func TestBankDropsTheOldest(t *testing.T) {
	const m = 7
	x := noise(10*m, 1)
	b := newBank(m, 2, 8)
	b.tune([]float64{0.3, 0.9}, 100)
	for i := range 8 {
		b.push(x[i*m:])
	}
	b.Drop(3)
	b.push(x[8*m:])
	if b.N != 6 || b.First != 100+3*m || b.full() {
		t.Fatalf("%d sub-blocks from sample %d, full %v; want 6 from %d", b.N, b.First, b.full(), 100+3*m)
	}
	for i := range b.N {
		for r, w := range b.Omega {
			if got, want := b.row(r, i), direct(x[(3+i)*m:(4+i)*m], w); cmplx.Abs(got-want) > 1e-12 {
				t.Errorf("after drop, row %d, block %d: %v, want %v", r, i, got, want)
			}
		}
	}
	b.tune([]float64{1.1}, 5)
	b.push(x)
	if got, want := b.row(0, 0), direct(x[:m], 1.1); b.N != 1 || b.First != 5 || cmplx.Abs(got-want) > 1e-12 {
		t.Errorf("after tune: %d sub-blocks from %d, %v, want 1 from 5, %v", b.N, b.First, got, want)
	}
}

func TestBankPushDoesNotAllocate(t *testing.T) {
	b, x := benchBank(16)
	if n := testing.AllocsPerRun(100, func() { pushHop(b, x) }); n != 0 {
		t.Errorf("%g allocations a hop, want none", n)
	}
}

// benchBank returns a bank for a string of 82.4 Hz at 48 kHz, and a hop of 512 samples.
func benchBank(partials int) (*Bank, []float64) {
	b := newBank(SubBlock(testRate), partials, 1024)
	omega := make([]float64, partials)
	for k := range omega {
		omega[k] = 2 * 3.141592653589793 * stiffstring.PartialHz(82.407, 1e-4, k+1) / testRate
	}
	b.tune(omega, 0)
	return b, noise(512, 1)
}

// pushHop adds a hop and makes room for it as a tracker does.
func pushHop(b *Bank, x []float64) {
	for i := 0; i < len(x); i += b.M {
		if b.full() {
			b.Drop(b.N / 2)
		}
		b.push(x[i:])
	}
}

func BenchmarkHop(b *testing.B) {
	for _, partials := range []int{12, 16} {
		b.Run(fmt.Sprintf("partials=%d", partials), func(b *testing.B) {
			bank, x := benchBank(partials)
			b.ReportAllocs()
			for b.Loop() {
				pushHop(bank, x)
			}
			realtime(b, len(x))
		})
	}
}
