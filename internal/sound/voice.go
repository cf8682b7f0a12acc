package sound

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"tunerd/internal/stiffstring"
)

const (
	// So many samples are advanced by recurrence, then every partial starts afresh from its
	// closed form: rounding never builds up, and a moving pitch is followed by a parabola in
	// phase per block, right at its start, middle and end.
	steadyLen = 256
	movingLen = 32
	// inaudible is the level, relative to its start, below which a partial is no longer computed.
	inaudible = 1e-12
	// stillCurve, in s, is the bend of the string's clock over a block below which the pitch counts
	// as steady: 1e-9 rad for a partial of 16 kHz.
	stillCurve = 1e-14
	// dampTau is the time constant in s of a hand laid on the string.
	dampTau = 0.025
)

// A Voice is one sounding pluck that can be read piece by piece. It allocates nothing after it is
// made and serves one goroutine.
type Voice struct {
	Gain float64 // linear; 1 when made, where partial amplitudes are 1/k^RollOff × comb

	spec       StringSpec
	sampleRate float64
	modes      []mode
	partials   int // modes[:partials] are the first polarisation
	burst      float64
	rng        *rand.Rand // of the attack noise
}

// mode is one exponentially decaying cosine.
type mode struct {
	hz, amp, decay, phase float64
}

// Voice draws the random parts of the string (scatter, phases) from rng, which the voice keeps for
// its attack noise. StartS, SNRdB, Peak, Room and the hum belong to a window and have no effect.
func (s StringSpec) Voice(sampleRate float64, rng *rand.Rand) *Voice {
	v := &Voice{Gain: 1, spec: s, sampleRate: sampleRate, rng: rng}
	for k := 1; k <= s.Partials; k++ {
		hz := stiffstring.PartialHz(s.F1Hz, s.B, k)
		if hz >= 0.45*sampleRate {
			break
		}
		if k > 1 && s.ScatterCents != 0 {
			hz *= math.Exp(s.ScatterCents * rng.NormFloat64() / stiffstring.CentsPerNeper)
		}
		v.modes = append(v.modes, mode{
			hz:    hz,
			amp:   s.amplitude(k, hz),
			decay: math.Log(1000) / s.T60 * (1 + s.DecaySlope*float64(k-1)),
			phase: rng.Float64() * 2 * math.Pi,
		})
	}
	v.partials = len(v.modes)
	if p := s.Polarisation; p.Amplitude != 0 {
		for _, m := range v.modes[:v.partials] {
			m.hz *= math.Exp(p.Cents / stiffstring.CentsPerNeper)
			m.amp *= p.Amplitude
			m.decay *= p.DecayFactor
			m.phase = rng.Float64() * 2 * math.Pi
			v.modes = append(v.modes, m)
		}
	}
	if s.Attack.Decay > 0 {
		v.burst = v.RMS() * math.Pow(10, s.Attack.LevelDB/20)
	}
	return v
}

// RMS is that of the string just after the pluck, at Gain 1 and without the attack noise.
func (v *Voice) RMS() float64 {
	sum := 0.0
	for _, m := range v.modes {
		sum += m.amp * m.amp / 2
	}
	return math.Sqrt(sum)
}

// amplitude is that of partial k at hz just after the pluck.
func (s StringSpec) amplitude(k int, hz float64) float64 {
	if s.Levels != nil {
		if k > len(s.Levels) {
			return 0
		}
		return s.Levels[k-1]
	}
	a := math.Abs(math.Sin(math.Pi*float64(k)*s.Pluck)) / math.Pow(float64(k), s.RollOff)
	if s.HighPassHz > 0 {
		r := math.Pow(hz/s.HighPassHz, 4)
		a *= r / (1 + r)
	}
	return a
}

// Add adds the voice to dst, whose first sample lies t0 seconds after the pluck (before it if t0 is
// negative: the voice is silent there). Attack noise is right only if the pieces follow each other.
//
// A string of steady pitch is exact to rounding. Where the pitch moves, phases are off by at most
// |φ‴|·movingLen³/125 with φ‴ in rad/sample³: below 1e-6 rad for a partial of 5 kHz that glides by 50
// cents in 0.2 s at 48 kHz.
func (v *Voice) Add(dst []float64, t0 float64) {
	skip := min(max(0, int(math.Ceil(-t0*v.sampleRate-1e-6))), len(dst))
	dst = dst[skip:]
	for done := 0; done < len(dst); {
		t := max(t0+float64(skip+done)/v.sampleRate, 0)
		n := min(steadyLen, len(dst)-done, v.spec.untilDamped(t, v.sampleRate))
		law := v.spec.phaseLaw(t, float64(n)/v.sampleRate)
		if law.moving() {
			n = min(movingLen, n)
			law = v.spec.phaseLaw(t, float64(n)/v.sampleRate)
		}
		v.addBlock(dst[done:done+n], t, law)
		v.addBurst(dst[done:done+n], t)
		done += n
	}
}

// A phaseLaw is the string's clock over one block: start + slope·u + curve·u² seconds, u from 0 to
// 1 over the block.
type phaseLaw struct{ start, slope, curve float64 }

// phaseLaw fits the clock over span seconds from t on.
func (s StringSpec) phaseLaw(t, span float64) phaseLaw {
	c0, c1, c2 := s.clock(t), s.clock(t+span/2), s.clock(t+span)
	return phaseLaw{start: c0, slope: 4*(c1-c0) - (c2 - c0), curve: 2 * (c2 - 2*c1 + c0)}
}

func (l phaseLaw) moving() bool { return math.Abs(l.curve) > stillCurve }

func (v *Voice) addBlock(dst []float64, t float64, law phaseLaw) {
	n := float64(len(dst))
	damp := v.spec.damping(t)
	damping := (v.spec.damping(t+n/v.sampleRate) - damp) / n
	for i := range v.modes {
		m := &v.modes[i]
		level := -m.decay*t - damp
		if level < math.Log(inaudible) {
			continue
		}
		omega := 2 * math.Pi * m.hz
		_, turns := math.Modf(m.hz * law.start)
		z := cmplx.Rect(v.Gain*m.amp*math.Exp(level), 2*math.Pi*turns+m.phase)
		w := cmplx.Rect(math.Exp(-m.decay/v.sampleRate-damping), omega*(law.slope+law.curve/n)/n)
		if law.moving() {
			chirp(dst, z, w, cmplx.Rect(1, 2*omega*law.curve/(n*n)))
		} else {
			turn(dst, z, w)
		}
	}
}

// turn adds Re(z·wⁿ) to dst[n], even and odd n in two chains that do not wait for each other.
func turn(dst []float64, z, w complex128) {
	odd := z * w
	w *= w
	i := 0
	for ; i+1 < len(dst); i += 2 {
		dst[i] += real(z)
		dst[i+1] += real(odd)
		z *= w
		odd *= w
	}
	if i < len(dst) {
		dst[i] += real(z)
	}
}

// chirp is turn with w multiplied by c after every sample.
func chirp(dst []float64, z, w, c complex128) {
	for i := range dst {
		dst[i] += real(z)
		z *= w
		w *= c
	}
}

func (v *Voice) addBurst(dst []float64, t float64) {
	if v.burst == 0 {
		return
	}
	level := v.Gain * v.burst * math.Exp(-t/v.spec.Attack.Decay)
	fall := math.Exp(-1 / (v.spec.Attack.Decay * v.sampleRate))
	for i := range dst {
		if level < 1e-6*v.burst*v.Gain {
			return
		}
		dst[i] += level * v.rng.NormFloat64()
		level *= fall
	}
}

// damping is the neper lost at t to the hand on the string.
func (s StringSpec) damping(t float64) float64 {
	if s.DampS <= 0 || t <= s.DampS {
		return 0
	}
	return (t - s.DampS) / dampTau
}

// untilDamped is how many samples from t on come before the hand; very many if it has come or never
// comes.
func (s StringSpec) untilDamped(t, sampleRate float64) int {
	if samples := (s.DampS - t) * sampleRate; samples >= 1 {
		return int(min(samples, math.MaxInt32))
	}
	return math.MaxInt32
}

// CentsAt is the pitch t seconds after the pluck, in cents against F1Hz.
func (s StringSpec) CentsAt(t float64) float64 {
	cents := 0.0
	if s.GlideCents != 0 {
		cents = s.GlideCents * math.Exp(-s.Ramp.clock(t)/s.GlideTau)
	}
	return cents + s.Ramp.at(t)
}

// clock is the time that a clock running at the string's pitch shows t seconds after the pluck:
// the phase of a partial is 2π·hz·clock(t). It is the integral of 2^(CentsAt/1200); the glide runs
// on the ramp's clock, which differs from t by the ramp's cents only.
func (s StringSpec) clock(t float64) float64 {
	t = s.Ramp.clock(t)
	if s.GlideCents == 0 {
		return t
	}
	// ∫exp(d·e^(−t/τ)) dt, term by term of the outer exponential's series.
	d := s.GlideCents / stiffstring.CentsPerNeper
	sum, term := t, 1.0
	for m := 1.0; m <= 12; m++ {
		term *= d / m
		sum -= term * s.GlideTau / m * math.Expm1(-m*t/s.GlideTau)
	}
	return sum
}

// at is the ramp's cents at t.
func (r Ramp) at(t float64) float64 {
	switch {
	case r.Cents == 0 || t <= r.Start:
		return 0
	case t >= r.End:
		return r.Cents
	}
	return r.Cents * (t - r.Start) / (r.End - r.Start)
}

// clock is the integral of 2^(at/1200) from 0 to t ≥ 0.
func (r Ramp) clock(t float64) float64 {
	if r.Cents == 0 || t <= r.Start {
		return t
	}
	rate := r.Cents / stiffstring.CentsPerNeper / (r.End - r.Start) // neper per second
	within := min(t, r.End) - r.Start
	sum := r.Start + math.Expm1(rate*within)/rate
	if t > r.End {
		sum += (t - r.End) * math.Exp(r.Cents/stiffstring.CentsPerNeper)
	}
	return sum
}
