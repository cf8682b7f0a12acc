package accuracy

import (
	"math"
	"testing"

	"tunerd/internal/sound"
)

// tableString is the string of the table below: window from 50 ms after the pluck, amplitudes at the
// window's centre; sigma is the noise for 0 dB SNR.
func tableString(hz, windowS float64) (m StringModel, sigma float64) {
	s := sound.String(hz)
	m = StringModel{F1Hz: hz, B: s.B, Phases: numpyPhases()}
	power := 0.0
	for k := 1; k <= s.Partials; k++ {
		f := float64(k)
		decay := math.Log(1000) / s.T60 * (1 + s.DecaySlope*(f-1))
		amp := math.Abs(math.Sin(math.Pi*f*s.Pluck)) / f * math.Exp(-decay*(0.05+windowS/2))
		m.Amps, m.Decays = append(m.Amps, amp), append(m.Decays, decay)
		power += amp * amp / 2 * math.Sinh(decay*windowS) / (decay * windowS)
	}
	return m, math.Sqrt(power)
}

// Computed independently in Python with numpy (inverse of the Gram matrix of the whole Jacobian) for
// SNR 10 dB at 48 kHz, with the phases of numpyPhases; printed there with three digits, the bound of
// B with two.
var numpyBounds = []struct {
	hz, windowS    float64
	sine, harmonic float64 // closed forms
	known, unknown float64 // string with decay, B known and unknown
	relB           float64 // bound of B ÷ B
}{
	{30.868, 0.05, 3.99, 0.889, 1.08, 1.41, 0.052},
	{30.868, 0.1, 1.41, 0.314, 0.357, 0.519, 0.018},
	{30.868, 0.2, 0.499, 0.111, 0.12, 0.182, 0.0065},
	{30.868, 0.5, 0.126, 0.0281, 0.0324, 0.0449, 0.0018},
	{30.868, 1, 0.0446, 0.00994, 0.0134, 0.0176, 0.00081},
	{82.407, 0.05, 1.5, 0.333, 0.372, 0.551, 0.031},
	{82.407, 0.1, 0.529, 0.118, 0.128, 0.191, 0.011},
	{82.407, 0.2, 0.187, 0.0416, 0.0475, 0.0677, 0.0039},
	{82.407, 0.5, 0.0473, 0.0105, 0.0136, 0.018, 0.0012},
	{82.407, 1, 0.0167, 0.00372, 0.00604, 0.00748, 0.00064},
	{329.628, 0.05, 0.374, 0.0832, 0.0963, 0.136, 0.0088},
	{329.628, 0.1, 0.132, 0.0294, 0.0353, 0.0481, 0.0033},
	{329.628, 0.2, 0.0467, 0.0104, 0.0138, 0.018, 0.0014},
	{329.628, 0.5, 0.0118, 0.00263, 0.00467, 0.00562, 0.00061},
	{329.628, 1, 0.00418, 0.000931, 0.00254, 0.00293, 0.0004},
	{440, 0.05, 0.28, 0.0623, 0.0731, 0.101, 0.0062},
	{440, 0.1, 0.099, 0.022, 0.0273, 0.0368, 0.0024},
	{440, 0.2, 0.035, 0.00779, 0.0109, 0.0139, 0.0011},
	{440, 0.5, 0.00886, 0.00197, 0.00385, 0.00456, 0.00049},
	{440, 1, 0.00313, 0.000697, 0.00221, 0.00253, 0.00033},
}

// numpyPhases are the phases behind numpyBounds.
func numpyPhases() []float64 {
	phases := numpyUniform(3, 20)
	for i := range phases {
		phases[i] *= 2 * math.Pi
	}
	return phases
}

func TestBoundsAgainstNumpy(t *testing.T) {
	for _, want := range numpyBounds {
		m, sigma := tableString(want.hz, want.windowS)
		n := int(math.Round(want.windowS * 48000))
		known, err := StringBound(m, n, 48000, sigma*math.Pow(10, -10.0/20), Assumed{B: true})
		if err != nil {
			t.Fatal(err)
		}
		unknown, err := StringBound(m, n, 48000, sigma*math.Pow(10, -10.0/20), Assumed{})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			what      string
			got, want float64
			tol       float64
		}{
			{"one sinusoid", SinusoidBound(want.hz, n, 48000, 10), want.sine, 0.006},
			{"harmonic sum", steadyHarmonicBound(want.hz, n), want.harmonic, 0.006},
			{"B known", known.F1Cents, want.known, 0.006},
			{"B unknown", unknown.F1Cents, want.unknown, 0.006},
			{"bound of B", unknown.B / m.B, want.relB, 0.05},
		} {
			if math.Abs(c.got/c.want-1) > c.tol {
				t.Errorf("%g Hz, %g s, %s: %.4g, numpy %.4g", want.hz, want.windowS, c.what, c.got, c.want)
			}
		}
	}
}

// steadyHarmonicBound is the asymptote for the table's amplitudes at the pluck, at SNR 10 dB.
func steadyHarmonicBound(hz float64, n int) float64 {
	var amps []float64
	power := 0.0
	for k := 1.0; k <= 20; k++ {
		a := math.Abs(math.Sin(math.Pi*k*0.13)) / k
		amps = append(amps, a)
		power += a * a / 2
	}
	return HarmonicBound(hz, amps, n, 48000, math.Sqrt(power/10))
}

// One steady sinusoid over many periods: the numeric bound is Rife and Boorstyn's closed form.
func TestStringBoundIsRifeBoorstynForASinusoid(t *testing.T) {
	for _, hz := range []float64{110, 997, 5000} {
		m := StringModel{F1Hz: hz, Amps: []float64{0.3}, Decays: []float64{0}, Phases: []float64{1}}
		const n, fs, snr = 9600, 48000, 20.0
		sigma := 0.3 / math.Sqrt2 * math.Pow(10, -snr/20)
		got, err := StringBound(m, n, fs, sigma, Assumed{B: true, Decays: true})
		if err != nil {
			t.Fatal(err)
		}
		if want := SinusoidBound(hz, n, fs, snr); math.Abs(got.F1Cents/want-1) > 0.005 {
			t.Errorf("%g Hz: %.6g cents, closed form %.6g", hz, got.F1Cents, want)
		}
	}
}

// A steady harmonic sum over many periods: the numeric bound tends to Christensen and Jakobsson's
// asymptote, the closer the more periods.
func TestStringBoundTendsToTheHarmonicAsymptote(t *testing.T) {
	const hz, fs, sigma = 220.0, 48000, 0.01
	m := StringModel{F1Hz: hz}
	for k := 1; k <= 10; k++ {
		m.Amps, m.Decays = append(m.Amps, 0.3/float64(k)), append(m.Decays, 0)
		m.Phases = append(m.Phases, float64(k*k))
	}
	last := math.Inf(1)
	for _, tc := range []struct {
		n   int
		tol float64
	}{{1200, 0.2}, {4800, 0.02}, {24000, 0.002}} {
		got, err := StringBound(m, tc.n, fs, sigma, Assumed{B: true, Decays: true})
		if err != nil {
			t.Fatal(err)
		}
		off := math.Abs(got.F1Cents/HarmonicBound(hz, m.Amps, tc.n, fs, sigma) - 1)
		t.Logf("%d samples: %.4f off the asymptote", tc.n, off)
		if off > tc.tol || off > last {
			t.Errorf("%d samples: %.4f off the asymptote, want at most %g and falling", tc.n, off, tc.tol)
		}
		last = off
	}
}

// What is not known can only raise the bound.
func TestNuisanceParametersNeverHelp(t *testing.T) {
	m, sigma := tableString(110, 0.2)
	bound := func(known Assumed) float64 {
		b, err := StringBound(m, 9600, 48000, sigma, known)
		if err != nil {
			t.Fatal(err)
		}
		return b.F1Cents
	}
	all, noDecay, none := bound(Assumed{B: true, Decays: true}), bound(Assumed{B: true}), bound(Assumed{})
	if !(all <= noDecay*(1+1e-9) && noDecay < none) {
		t.Errorf("bounds %.4g ≤ %.4g < %.4g do not grow", all, noDecay, none)
	}
}

// The bound of a whole window and that from fewer samples with as much noise in a hertz.
func TestBoundFromFewerSamples(t *testing.T) {
	cfg := Config{SampleRate: 48000}
	for _, hz := range []float64{30.868, 82.407, 440} {
		m, sigma := tableString(hz, 0.1)
		fewer, err := cfg.stringBound(m, 4800, sigma)
		if err != nil {
			t.Fatal(err)
		}
		all, err := StringBound(m, 4800, 48000, sigma, Assumed{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(fewer/all.F1Cents-1) > 0.01 {
			t.Errorf("%g Hz: %.4g cents from fewer samples, %.4g from all", hz, fewer, all.F1Cents)
		}
	}
}

func TestStringBoundRefusesWhatItCannotSay(t *testing.T) {
	if _, err := StringBound(StringModel{F1Hz: 100}, 4800, 48000, 1, Assumed{}); err == nil {
		t.Error("a string without partials has a bound")
	}
	m, sigma := tableString(30.868, 0.2)
	if b, err := StringBound(m, 20, 48000, sigma, Assumed{}); err == nil {
		t.Errorf("20 samples fix 62 parameters to %g cents", b.F1Cents)
	}
}
