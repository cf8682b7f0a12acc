package acquire

import (
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// The method and what it promises: A. de Cheveigné, H. Kawahara, J. Acoust. Soc. Am. 111 (2002) 1917.

// harmonics returns n samples of partials first to last at whole multiples of hz, 1/k loud.
func harmonics(n int, hz, fs float64, first, last int) []float64 {
	x := make([]float64, n)
	for k := first; k <= last && float64(k)*hz < 0.45*fs; k++ {
		phase := newRand(uint64(k)).Float64() * 2 * math.Pi
		for i := range x {
			x[i] += math.Cos(2*math.Pi*float64(k)*hz*float64(i)/fs+phase) / float64(k)
		}
	}
	return x
}

func TestYINOnPeriodicSounds(t *testing.T) {
	var y Yin
	for _, tc := range []struct {
		name        string
		first, last int
		topHz, tol  float64 // cents
	}{
		{"sine", 1, 1, 5000, 3},
		{"harmonics 1 to 10", 1, 10, 2000, 5},
		{"missing fundamental, harmonics 4 to 12", 4, 12, 1000, 5},
	} {
		for hz := 25.0; hz <= tc.topHz; hz *= math.Exp2(1.0 / 7) {
			n := int(max(2048, 3.6*testRate/hz))
			p, ok := y.Find(harmonics(n, hz, testRate, tc.first, tc.last), testRate, max(20, 3.2*testRate/float64(n)), 5200)
			if !ok || math.Abs(stiffstring.Cents(p.Hz, hz)) > tc.tol {
				t.Errorf("%s of %.2f Hz: read %.3f Hz (%v), want within %g cents", tc.name, hz, p.Hz, ok, tc.tol)
			}
			if p.Aperiodicity > 0.05 { // not 0: the dip is read at a whole sample
				t.Errorf("%s of %.2f Hz: aperiodicity %.3f of a periodic sound", tc.name, hz, p.Aperiodicity)
			}
		}
	}
}

func TestYINFindsNoPeriodInNoise(t *testing.T) {
	var y Yin
	for seed := range uint64(50) {
		if p, ok := y.Find(noise(8192, seed), testRate, 25, 5000); ok && p.Aperiodicity < 0.5 {
			t.Errorf("seed %d/%d: white noise has a period of %.1f Hz, aperiodicity %.2f", testSeed, seed, p.Hz, p.Aperiodicity)
		}
	}
}

// Strings of three registers, 10 to 40 dB over noise, with 3.5 to 8 periods in the window: never an
// octave off, nor anything else that the fit could not mend.
func TestYINIsNeverAnOctaveOff(t *testing.T) {
	rng := newRand(40)
	registers := [][2]float64{{28, 110}, {82, 350}, {350, 1400}}
	var y Yin
	for trial := range 500 {
		reg := registers[trial%3]
		hz := reg[0] * math.Pow(reg[1]/reg[0], rng.Float64())
		spec := sound.String(hz)
		spec.Pluck = 0.08 + 0.3*rng.Float64()
		spec.SNRdB = 10 + 30*rng.Float64()
		n := int(max(1200, (3.5+4.5*rng.Float64())*testRate/hz))
		x := make([]float64, n)
		spec.Render(x, testRate, rng)
		lowest := max(0.6*reg[0], 3.2*testRate/float64(n))
		if p, ok := y.Find(x, testRate, lowest, 1.5*reg[1]); !ok || math.Abs(stiffstring.Cents(p.Hz, hz)) > 60 {
			t.Errorf("seed %d, trial %d: %.2f Hz at %.0f dB, plucked at %.2f, %d samples: read %.2f Hz (%v, deepest %.2f)",
				testSeed, trial, hz, spec.SNRdB, spec.Pluck, n, p.Hz, ok, p.DeepestHz)
		}
	}
}

// Partials of a stiff string lie above the harmonics, so its best period is shorter than that of
// partial 1: the reading is sharp, the more so the stiffer the string.
func TestYINReadsStiffStringsSharp(t *testing.T) {
	var y Yin
	for _, hz := range []float64{82.407, 196, 440} {
		last := 0.0
		for _, b := range []float64{1e-4, 2e-4, 4e-4} {
			spec := sound.String(hz)
			spec.B, spec.Partials = b, 8
			x := make([]float64, 8192)
			spec.Render(x, testRate, newRand(1))
			p, ok := y.Find(x, testRate, hz/1.5, hz*1.5)
			bias := stiffstring.Cents(p.Hz, hz)
			if !ok || bias <= last || bias > 14 {
				t.Errorf("%g Hz, B = %g: %+.2f cents, want above %+.2f and below 14", hz, b, bias, last)
			}
			last = bias
		}
	}
}

// A period of few samples falls between two of them, and high partials make its dip narrow: it is found all
// the same, not some multiple of it that falls on a sample.
func TestYINOnPeriodsOfFewSamples(t *testing.T) {
	rng := newRand(41)
	var y Yin
	for trial := range 400 {
		hz := 1400 * math.Pow(3, rng.Float64())
		spec := sound.String(hz)
		spec.SNRdB = 10 + 30*rng.Float64()
		spec.HighPassHz = []float64{0, 800}[trial%2]
		x := make([]float64, int((0.007+0.007*rng.Float64())*testRate))
		spec.Render(x, testRate, rng)
		if p, ok := y.Find(x, testRate, 500, 4200); !ok || math.Abs(stiffstring.Cents(p.Hz, hz)) > 60 {
			t.Errorf("seed %d, trial %d: %.2f Hz at %.0f dB, %d samples: read %.2f Hz (%v, deepest %.2f)",
				testSeed, trial, hz, spec.SNRdB, len(x), p.Hz, ok, p.DeepestHz)
		}
	}
}
