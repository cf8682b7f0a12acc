package sound

import (
	"math"
	"math/cmplx"
	"testing"
)

// component is the peak amplitude of x at hz, by a Fourier sum over all samples; exact if hz fits
// the window a whole number of times.
func component(x []float64, hz, sampleRate float64) float64 {
	sum := complex(0, 0)
	for i, v := range x {
		sum += cmplx.Rect(v, -2*math.Pi*hz*float64(i)/sampleRate)
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// The hum's fundamental lies HumDB below the amplitude of a cosine with the string's power.
func TestHumLevel(t *testing.T) {
	s := String(1000)
	s.B, s.T60, s.HumHz, s.HumDB = 0, 1e9, 50, -40 // partials of 1000 Hz have nothing at 50 Hz
	x := make([]float64, 48000)
	truth := s.Render(x, 48000, newRand())
	for harmonic, gain := range map[float64]float64{1: 1, 2: 0.3, 3: 0.5} {
		want := math.Sqrt2 * truth.SignalRMS * 0.01 * gain
		if got := component(x, 50*harmonic, 48000); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("harmonic %g at %.4g, want %.4g", harmonic, got, want)
		}
	}
}

// A 4th-order high-pass halves the amplitude r/(1+r), r = (f/corner)⁴, at its corner and falls by
// 24 dB an octave well below it.
func TestWeakFundamental(t *testing.T) {
	s := String(100)
	plain := s.amplitude(1, 100)
	for corner, want := range map[float64]float64{100: 0.5, 400: 1.0 / 257, 800: 1.0 / 4097} {
		s.HighPassHz = corner
		if got := s.amplitude(1, 100) / plain; math.Abs(got-want) > 1e-12 {
			t.Errorf("corner %g Hz: gain %.6f, want %.6f", corner, got, want)
		}
	}
}

// The burst's RMS over its first moments lies LevelDB below the string's, and falls by e in Decay.
func TestAttackNoise(t *testing.T) {
	s := String(110)
	clean, struck := make([]float64, 9600), make([]float64, 9600)
	s.Voice(48000, newRand()).Add(clean, 0)
	s.Attack = Attack{LevelDB: -6, Decay: 0.05}
	v := s.Voice(48000, newRand())
	v.Add(struck, 0)
	for i := range struck {
		struck[i] -= clean[i]
	}
	// 480 draws: an RMS is good to 1/√960, 3.2%, plus 10% of fall within the 10 ms.
	for _, start := range []int{0, 2400, 4800} {
		want := v.RMS() * math.Pow(10, -6.0/20) * math.Exp(-(float64(start)/48000+0.005)/0.05)
		if got := math.Sqrt(meanPower(struck[start:start+480], 0)); math.Abs(got/want-1) > 0.12 {
			t.Errorf("seed %d: burst %.3g at sample %d, want %.3g", testSeed, got, start, want)
		}
	}
}

// A hand on the string adds a decay of its own from DampS on.
func TestDampedString(t *testing.T) {
	s := String(440)
	free, damped := make([]float64, 48000), make([]float64, 48000)
	s.Voice(48000, newRand()).Add(free, 0)
	s.DampS = 0.5
	s.Voice(48000, newRand()).Add(damped, 0)
	if w := worst(free[:24000], damped[:24000]); w > 1e-12 {
		t.Errorf("differs by %.2g before the hand comes", w)
	}
	for _, ms := range []int{50, 100, 200} {
		at := 24000 + 48*ms
		got := math.Sqrt(meanPower(damped[at:at+480], 0) / meanPower(free[at:at+480], 0))
		want := math.Exp(-(float64(ms) + 5) / (1000 * dampTau))
		if math.Abs(got/want-1) > 0.2 { // the fall within the 10 ms
			t.Errorf("%d ms after the hand: gain %.4g, want %.4g", ms, got, want)
		}
	}
}
