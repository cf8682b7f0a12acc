package stringfit

import (
	"math"
	"math/cmplx"
	"testing"

	"tunerd/internal/stiffstring"
)

// gathered is what a series must hold: the mean over the block of x times the reference turned
// back, on the clock n + fs·ψ(n), whose phase counts from the mean of that clock over the block.
func gathered(x []float64, begin int64, omega, fs float64, w warp) complex128 {
	var sum complex128
	c := float64(len(x)-1) / 2
	var middle float64
	for n := range x {
		middle += w.psi(float64(begin)+float64(n)+0.5, fs) / float64(len(x))
	}
	for n, v := range x {
		psi := w.psi(float64(begin)+float64(n)+0.5, fs)
		sum += cmplx.Rect(v, -omega*(float64(n)-c+fs*(psi-middle)))
	}
	return sum / complex(float64(len(x)), 0)
}

func TestGatherIsTheDirectDemodulation(t *testing.T) {
	const fs, subBlocks = 48000.0, 61
	warps := map[string]warp{
		"steady": {},
		"glide":  {depth: 8, tau: 0.2, onset: 150},
		"drift":  {quad: 1e-3, cubic: 2e-3, middle: 1500},
	}
	for name, w := range warps {
		for _, m := range []int{5, 29, 32} {
			x := noise(m*subBlocks, uint64(m))
			omega := []float64{0.01, 0.0407, 0.2}
			b := newBank(m, len(omega), subBlocks)
			b.tune(omega, 1000)
			for i := range subBlocks {
				b.push(x[i*m:])
			}
			for _, q := range []int{1, 2, 7} {
				const from, to = 3, 58
				var s series
				s.gather(b, omega, from, to, q, fs, w)
				if n := (to - from) / q; s.n != n || s.length != q*m || s.samples() != n*q*m {
					t.Fatalf("q = %d: %d blocks of %d samples", q, s.n, s.length)
				}
				first := to - s.n*q // what is left over at the front is not used
				if want := int64(1000 + first*m); s.start != want {
					t.Fatalf("q = %d: window begins at %d, want %d", q, s.start, want)
				}
				var energy float64
				for _, v := range x[first*m : to*m] {
					energy += v * v
				}
				if math.Abs(s.energy/energy-1) > 1e-12 {
					t.Errorf("q = %d: energy %g, want %g", q, s.energy, energy)
				}
				for r, omega := range omega {
					for j, got := range s.at(r) {
						at := first*m + j*q*m
						want := gathered(x[at:at+q*m], int64(1000+at), omega, fs, w)
						// The warp is taken at the middle of each sub-block: its change within one times ω.
						tol := 1e-12 + omega*fs*math.Abs(w.rate(float64(1000+at), fs))*float64(m)/fs
						if bow := omega * fs * s.bow[j]; bow <= leastBend {
							tol += bow // left out
						}
						if cmplx.Abs(got-want) > tol {
							t.Errorf("%s, m = %d, q = %d, ω = %g, block %d: %v, want %v within %.1g", name, m, q, omega, j, got, want, tol)
						}
					}
				}
			}
		}
	}
}

// ψ′ is the derivative of ψ, and a glide's pitch is the one its words promise: depth·exp(−t/τ) cents.
func TestWarpRate(t *testing.T) {
	const fs = 48000.0
	w := warp{depth: 10, tau: 0.15, onset: 4800, quad: 2e-4, cubic: -3e-4, middle: 9600}
	for _, at := range []float64{5000, 9600, 20000, 60000} {
		const h = 1.0
		want := (w.psi(at+h, fs) - w.psi(at-h, fs)) / (2 * h / fs)
		if got := w.rate(at, fs); math.Abs(got-want) > 1e-9 {
			t.Errorf("rate at %g: %g, numerically %g", at, got, want)
		}
		g := warp{depth: 10, tau: 0.15, onset: 4800}
		cents := stiffstring.CentsPerNeper * math.Log1p(g.rate(at, fs))
		// First order: the square of the depth in nepers over two, 0.03 cent for 10 cents.
		if want := 10 * math.Exp(-(at-4800)/fs/0.15); math.Abs(cents-want) > 0.03 {
			t.Errorf("glide at %g: %g cents, want %g", at, cents, want)
		}
	}
}
