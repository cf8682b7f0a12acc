package clock

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

const rate = 48000

// tone returns a sine of amplitude 0.5 in white noise.
func tone(hz, seconds, noise float64, rng *rand.Rand) []float64 {
	x := make([]float64, int(seconds*rate))
	phase := rng.Float64()
	for i := range x {
		_, turns := math.Modf(hz*float64(i)/rate + phase)
		x[i] = 0.5*math.Sin(2*math.Pi*turns) + noise*rng.NormFloat64()
	}
	return x
}

// hear pushes samples in odd pieces, as a device may deliver them.
func hear(t testing.TB, hz float64, samples ...[]float64) (Heard, error) {
	t.Helper()
	meter, err := NewTone(hz, rate)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range samples {
		for len(s) > 0 {
			n := min(len(s), 479)
			meter.Push(s[:n])
			s = s[n:]
		}
	}
	return meter.Read()
}

// manyTrials skips what is statistics, and nothing for the race detector.
func manyTrials(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("statistics need all their trials")
	}
}

// TestToneReachesTheBound measures tones in white noise again and again: the scatter is that of
// the Cramér–Rao bound, and the stated uncertainty holds the truth in 95 % of trials.
//
// Bound: Rife and Boorstyn 1974, var(ω) ≥ 24·s²/(A²·N³), see Tone.
func TestToneReachesTheBound(t *testing.T) {
	manyTrials(t)
	const trials = 150
	rng := rand.New(rand.NewPCG(11, 0))
	t.Log("seed 11")
	for _, c := range []struct{ nominal, ppm, seconds, noise float64 }{
		{440, 50, 5.5, 0.1},
		{440, -480, 5.5, 0.5}, // 3 dB more noise than tone
		{1000, 3, 8, 0.5},
		{50, 100, 6, 0.2},
	} {
		truth := c.nominal * (1 + c.ppm*1e-6)
		bound := math.Sqrt(24*c.noise*c.noise/0.25/math.Pow(c.seconds*rate, 3)) * rate / (2 * math.Pi)
		sum, sigmas, inside := 0.0, 0.0, 0
		for range trials {
			h, err := hear(t, c.nominal, tone(truth, c.seconds, c.noise, rng))
			if err != nil {
				t.Fatal(err)
			}
			e := h.Hz - truth
			sum += e * e
			sigmas += h.SigmaHz / trials
			if math.Abs(e) <= 1.96*h.SigmaHz {
				inside++
			}
		}
		rms, covered := math.Sqrt(sum/trials), float64(inside)/trials
		t.Logf("%+v: scatter %.4g of the bound, stated %.4g, %.1f %% within 1.96 sigma", c, rms/bound, sigmas/bound, 100*covered)
		// The scatter of 150 trials is itself known to 6 %.
		if r := rms / bound; r < 0.83 || r > 1.18 {
			t.Errorf("%+v: scatter is %.3f of the bound", c, r)
		}
		// 95 % ± 3 standard errors at the lower end; the larger of two sigmas covers more.
		if covered < 0.896 {
			t.Errorf("%+v: %.1f %% within 1.96 sigma, want 95 %%", c, 100*covered)
		}
	}
}

// TestWanderingToneSaysSo: a tone whose frequency wanders from tenth to tenth of the time is not
// known as well as its noise would allow.
func TestWanderingToneSaysSo(t *testing.T) {
	manyTrials(t)
	const trials, seconds = 100, 5.5
	rng := rand.New(rand.NewPCG(12, 0))
	inside := 0
	for range trials {
		x := make([]float64, int(seconds*rate))
		turns, wander := 0.0, 0.0
		for i := range x {
			wander += 2e-7 * rng.NormFloat64() // random walk of phase: white frequency noise
			turns += 440.0 / rate
			_, f := math.Modf(turns + 30*wander)
			x[i] = math.Sin(2*math.Pi*f) + 1e-3*rng.NormFloat64()
		}
		h, err := hear(t, 440, x)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(h.Hz-440) <= 1.96*h.SigmaHz {
			inside++
		}
	}
	t.Logf("%d of %d within 1.96 sigma", inside, trials)
	if inside < 89 { // 95 less 3 standard errors

		t.Errorf("%d of %d within 1.96 sigma", inside, trials)
	}
}

func TestToneBesideOtherSounds(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 0))
	truth := 440 * (1 + 50e-6)
	x := tone(truth, 20, 0.01, rng)
	for i := range x {
		s := float64(i) / rate
		x[i] += 0.2*math.Sin(2*math.Pi*50*s) + 0.1*math.Sin(2*math.Pi*880.3*s) // hum, another tone
		if i/rate == 7 {
			x[i] += 0.5 * rng.NormFloat64() // somebody coughs
		}
	}
	silence := make([]float64, 3*rate)
	h, err := hear(t, 440, silence, x, silence)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(h.Hz-truth) > 3*h.SigmaHz || h.SigmaHz > 440*0.5e-6 || math.Abs(h.Seconds-20) > 0.1 {
		t.Errorf("%+v, want %.6f Hz for 20 s", h, truth)
	}
}

func TestNoToneIsRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(14, 0))
	noise := tone(440, 10, 0, rng)
	for i := range noise {
		noise[i] = rng.NormFloat64()
	}
	jumps := tone(440, 12, 0.001, rng)
	for i := 1; i < 12; i++ { // samples lost once a second
		copy(jumps[i*rate:], jumps[i*rate+3*i*i*7:])
	}
	for _, c := range []struct {
		name    string
		samples []float64
		want    string
	}{
		{"nothing", nil, "too short"},
		{"short", tone(440, 2, 0.001, rng), "too short"},
		{"silence", make([]float64, 10*rate), "no steady tone"},
		{"noise", noise, "no steady tone"},
		{"far off", tone(660, 10, 0.01, rng), "no steady tone"},
		{"one second of tone", append(make([]float64, 10*rate), tone(440, 1, 0.001, rng)...), "lasts for 1 s only"},
		{"jumps", jumps, "not steady"},
	} {
		if h, err := hear(t, 440, c.samples); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %+v, %v; want %q", c.name, h, err, c.want)
		}
	}
	for _, hz := range []float64{0, 10, 19200.1, math.NaN(), math.Inf(1), -440} {
		if _, err := NewTone(hz, rate); err == nil {
			t.Errorf("a tone of %g Hz is accepted", hz)
		}
	}
}
