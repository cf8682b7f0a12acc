package sound

import (
	"math"
	"math/rand/v2"
	"testing"
)

const testSeed = 20

func newRand() *rand.Rand { return rand.New(rand.NewPCG(testSeed, 1)) }

// directSum is the slow twin: one cosine per sample and partial from the truth's own numbers,
// with the time warp given as a function.
func directSum(v *Voice, n int, t0 float64, clock func(float64) float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		t := t0 + float64(i)/v.sampleRate
		if t < 0 {
			continue
		}
		for _, m := range v.modes {
			x[i] += m.amp * math.Exp(-m.decay*t) * math.Cos(2*math.Pi*m.hz*clock(t)+m.phase)
		}
	}
	return x
}

func worst(a, b []float64) float64 {
	w := 0.0
	for i := range a {
		w = max(w, math.Abs(a[i]-b[i]))
	}
	return w
}

func TestVoiceMatchesDirectSum(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(*StringSpec)
		tol  float64
	}{
		{"steady", func(*StringSpec) {}, 1e-9},
		{"pluck inside", func(s *StringSpec) { s.StartS = -0.0101 }, 1e-9},
		{"scatter and second polarisation", func(s *StringSpec) {
			s.ScatterCents, s.Polarisation = 0.3, Polarisation{Cents: 0.4, Amplitude: 0.25, DecayFactor: 0.7}
		}, 1e-9},
	} {
		for _, hz := range []float64{30.868, 82.407, 440, 3520} {
			s := String(hz)
			tc.edit(&s)
			v := s.Voice(48000, newRand())
			got := make([]float64, 48000)
			v.Add(got, s.StartS)
			want := directSum(v, len(got), s.StartS, func(t float64) float64 { return t })
			if w := worst(got, want); w > tc.tol {
				t.Errorf("%s, %g Hz, seed %d: off the direct sum by %.2g, want at most %g", tc.name, hz, testSeed, w, tc.tol)
			}
		}
	}
}

// The clocks are checked against a plain numerical integral of the pitch they stand for.
func TestMovingPitchIsTheIntegralOfItsCents(t *testing.T) {
	for _, s := range []StringSpec{
		{GlideCents: 50, GlideTau: 0.2},
		{GlideCents: -8, GlideTau: 0.05},
		{Ramp: Ramp{Start: 0.3, End: 0.9, Cents: 40}},
		{Ramp: Ramp{Start: 0, End: 0.5, Cents: -25}},
	} {
		const steps = 200000
		sum, h := 0.0, 1.5/steps
		for i := range steps {
			sum += h * math.Exp2(s.CentsAt((float64(i)+0.5)*h)/1200)
		}
		if got := s.clock(1.5); math.Abs(got-sum) > 1e-9 {
			t.Errorf("%+v: clock(1.5) = %.12f, integral of the pitch %.12f", s, got, sum)
		}
	}
}

func TestMovingVoiceMatchesDirectSum(t *testing.T) {
	s := String(247)
	s.GlideCents, s.GlideTau = 50, 0.2
	s.Ramp = Ramp{Start: 0.4, End: 0.8, Cents: -20}
	v := s.Voice(48000, newRand())
	got := make([]float64, 48000)
	v.Add(got, 0)
	// At the corners of the ramp a block's parabola is off by φ″·(movingLen/2)²/2, 2e-5 rad here
	// for the 20th partial, whose amplitude is below 0.05.
	want := directSum(v, len(got), 0, s.clock)
	if w := worst(got, want); w > 5e-6 {
		t.Errorf("off the direct sum by %.2g, want at most 5e-6", w)
	}
}

func TestVoiceInPiecesIsTheSameSound(t *testing.T) {
	s := String(110)
	s.Attack = Attack{LevelDB: -10, Decay: 0.01}
	whole, pieces := make([]float64, 20000), make([]float64, 20000)
	s.Voice(48000, newRand()).Add(whole, 0)
	v := s.Voice(48000, newRand())
	for first := 0; first < len(pieces); first += 479 {
		v.Add(pieces[first:min(first+479, len(pieces))], float64(first)/48000)
	}
	if w := worst(whole, pieces); w > 1e-9 {
		t.Errorf("pieces of 479 samples differ by %.2g", w)
	}
}

func TestTruthDescribesTheWindow(t *testing.T) {
	s := String(196)
	s.ScatterCents = 0.3
	x := make([]float64, 9601)
	truth := s.Render(x, 48000, newRand())
	peak := 0.0
	for n := range x {
		dt, sum := float64(n-4800)/48000, 0.0
		for i, hz := range truth.Freqs {
			sum += truth.Amps[i] * math.Exp(-truth.Decays[i]*dt) * math.Cos(2*math.Pi*hz*dt+truth.Phases[i])
		}
		if math.Abs(sum-x[n]) > 1e-8 {
			t.Fatalf("sample %d is %.9f, the truth says %.9f", n, x[n], sum)
		}
		peak = max(peak, math.Abs(x[n]))
	}
	if math.Abs(peak-0.5) > 1e-12 {
		t.Errorf("peak %g, want 0.5", peak)
	}
}

func TestNoiseLevel(t *testing.T) {
	for _, snr := range []float64{10, 20, 40} {
		s := String(110)
		clean, noisy := make([]float64, 96000), make([]float64, 96000)
		ref := s.Render(clean, 48000, newRand())
		s.SNRdB = snr
		truth := s.Render(noisy, 48000, newRand())
		gain := truth.Amps[0] / ref.Amps[0]
		signal, noise := 0.0, 0.0
		for i := range clean {
			c := clean[i] * gain
			signal += c * c
			noise += (noisy[i] - c) * (noisy[i] - c)
		}
		// 96000 draws: the estimate of a variance is good to √(2/96000), 0.02 dB; allow five of it.
		if got := 10 * math.Log10(signal/noise); math.Abs(got-snr) > 0.1 {
			t.Errorf("seed %d: SNR %.2f dB, want %g", testSeed, got, snr)
		}
		if got := math.Sqrt(noise / 96000); math.Abs(got/truth.NoiseSigma-1) > 0.012 {
			t.Errorf("seed %d: noise %.3g, truth says %.3g", testSeed, got, truth.NoiseSigma)
		}
	}
}

// A tail of energy w re the direct sound adds 10·log10(1+w) dB to long noise-like signals and
// decays by 60 dB in RT60 by definition; checked on the response itself.
func TestRoomResponse(t *testing.T) {
	h := roomResponse(Room{RT60: 0.4, WetDB: -15}, 48000, newRand())
	energy := func(x []float64) (e float64) {
		for _, v := range x {
			e += v * v
		}
		return e
	}
	if got := 10 * math.Log10(energy(h[1:])); math.Abs(got+15) > 0.1 {
		t.Errorf("seed %d: tail at %.2f dB, want −15", testSeed, got)
	}
	half := len(h) / 2
	early, late := energy(h[1:4801]), energy(h[half:half+4800])
	if fall := 10 * math.Log10(early/late); math.Abs(fall-30) > 0.6 {
		t.Errorf("seed %d: falls by %.1f dB in half the RT60, want 30", testSeed, fall)
	}
}

func TestConvolveMatchesDirect(t *testing.T) {
	rng := newRand()
	x, h := make([]float64, 133), make([]float64, 61)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	for i := range h {
		h[i] = rng.NormFloat64()
	}
	got := convolve(x, h)
	for n := range x {
		want := 0.0
		for j := 0; j < len(h) && j <= n; j++ {
			want += h[j] * x[n-j]
		}
		if math.Abs(got[n]-want) > 1e-11 {
			t.Fatalf("sample %d: %g, direct sum %g", n, got[n], want)
		}
	}
}

func TestAddToStartsWhereTold(t *testing.T) {
	scene := make([]float64, 4000)
	String(220).AddTo(scene, 1000, 48000, newRand())
	for i, x := range scene {
		if i < 1000 && x != 0 {
			t.Fatalf("sample %d before the pluck is %g", i, x)
		}
	}
	if meanPower(scene, 1000) < 1e-3 {
		t.Error("no note after the pluck")
	}
}

func TestAddAllocatesNothing(t *testing.T) {
	v := String(110).Voice(48000, newRand())
	buf := make([]float64, 512)
	if n := testing.AllocsPerRun(20, func() { v.Add(buf, 0.1) }); n != 0 {
		t.Errorf("Add allocates %g times", n)
	}
}

func BenchmarkVoice(b *testing.B) {
	v := String(110).Voice(48000, newRand())
	buf := make([]float64, 512)
	b.ReportAllocs()
	for b.Loop() {
		v.Add(buf, 0.1)
	}
	b.ReportMetric(512.0/48000*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
