package sound

import (
	"math"
	"math/rand/v2"
)

// A Polarisation is a second, weaker set of partials beside the first: the string vibrating in
// the other plane. The zero value is none.
type Polarisation struct {
	Cents       float64 // its frequencies against the first set's
	Amplitude   float64 // relative to the first set's, linear
	DecayFactor float64 // its decay rates over the first set's
}

// A Room is a diffuse exponential reverberation without early reflections. The zero value is none.
type Room struct {
	RT60  float64 // s, time for the tail to fall by 60 dB
	WetDB float64 // energy of the tail's impulse response re the direct sound
}

// An Attack is a burst of white noise that starts with the pluck. The zero value is none.
type Attack struct {
	LevelDB float64 // RMS at its start re the RMS of the string at its start
	Decay   float64 // s, time for the amplitude to fall by the factor e; 0: no burst
}

// A Ramp turns the peg: the pitch moves by Cents, linearly in cents, from Start to End.
// The zero value is none.
type Ramp struct {
	Start, End float64 // s after the pluck
	Cents      float64
}

// A StringSpec describes one pluck of a string and how it is heard. Every field is taken
// literally, zero included; [String] fills in ordinary values.
type StringSpec struct {
	F1Hz       float64   // partial 1, settled: without glide and ramp
	B          float64   // inharmonicity
	Partials   int       // how many; those at or above 0.45 × sample rate are left out
	Pluck      float64   // plucking point as a part of the string's length
	RollOff    float64   // amplitudes fall as 1/k^RollOff under the comb |sin(π·k·Pluck)|
	Levels     []float64 // amplitudes of partials 1, 2 … instead of these two; nil: as they say
	T60        float64   // s, above 0, time for partial 1 to fall by 60 dB; +Inf: it does not
	DecaySlope float64   // partial k decays 1 + DecaySlope·(k−1) times as fast as partial 1

	GlideCents   float64 // pitch at the pluck above the settled one, falling as exp(−t/GlideTau)
	GlideTau     float64 // s
	Ramp         Ramp
	ScatterCents float64 // RMS of the random departure of partials 2 and up from the law
	Polarisation Polarisation
	HighPassHz   float64 // corner of a 4th-order high-pass in amplitude (weak fundamental); 0: none
	HumHz        float64 // mains hum with its first five harmonics; 0: none
	HumDB        float64 // amplitude of the hum's fundamental re the string's RMS·√2
	Room         Room
	Attack       Attack
	DampS        float64 // s after the pluck at which a hand stops the string; 0: never

	StartS float64 // s after the pluck at which the window starts; negative: pluck inside it
	SNRdB  float64 // mean power of the string over the window ÷ noise variance; NaN or +Inf: no noise
	Peak   float64 // largest absolute sample of a rendered window; 0: 0.5
}

// String returns a clean pluck of a string with ordinary values for a string of that pitch:
// 20 partials, plucked at 0.13 of its length, window from 50 ms after the pluck, no noise.
func String(f1Hz float64) StringSpec {
	return StringSpec{
		F1Hz: f1Hz, B: DefaultB(f1Hz), Partials: 20, Pluck: 0.13, RollOff: 1,
		T60: DefaultT60(f1Hz), DecaySlope: 0.12, StartS: 0.05, SNRdB: math.Inf(1),
	}
}

// DefaultB returns a middle-of-the-road inharmonicity for a string of that pitch: about 1.7e-4 for
// a wound bass string at 31 Hz, 1e-4 in the guitar's range, growing as f^1.6 in the treble. A
// model of our own, for want of string data; no measurement.
func DefaultB(f1Hz float64) float64 {
	b := 7e-5*(1+math.Pow(f1Hz/700, 1.6)) + 1e-4*(31/f1Hz)
	return min(max(b, 3e-5), 1.5e-2)
}

// DefaultT60 returns an ordinary decay time in s for a string of that pitch, 0.4 to 12 s. A model
// of our own like [DefaultB].
func DefaultT60(f1Hz float64) float64 {
	return min(max(9*math.Pow(60/f1Hz, 0.6), 0.4), 12)
}

// A Truth is what a rendered window really holds. The slices run over the partials, 1 first.
type Truth struct {
	F1Hz, B    float64
	Freqs      []float64 // Hz, settled, scatter included
	Amps       []float64 // peak amplitude at the window's centre, first polarisation
	Decays     []float64 // 1/s: amplitudes fall as exp(−Decays·t)
	Phases     []float64 // rad, [0, 2π), at the window's centre
	NoiseSigma float64   // standard deviation of the white noise
	SignalRMS  float64   // of the string over the part of the window after the pluck, room included
}

// Render fills dst with the window that starts s.StartS after the pluck and returns what is in it.
// The centre of the window is sample (len(dst)−1)/2. It draws from rng only.
func (s StringSpec) Render(dst []float64, sampleRate float64, rng *rand.Rand) Truth {
	clear(dst)
	v := s.Voice(sampleRate, rng)
	if s.Room.RT60 > 0 {
		addInRoom(dst, v, s.StartS, s.Room, rng)
	} else {
		v.Add(dst, s.StartS)
	}
	truth := v.truth(s.StartS + float64(len(dst)-1)/2/sampleRate)
	power := meanPower(dst, int(math.Ceil(-s.StartS*sampleRate)))
	if s.HumHz > 0 {
		addHum(dst, s, sampleRate, math.Sqrt(2*power), rng)
	}
	truth.SignalRMS = math.Sqrt(power)
	truth.NoiseSigma = noiseSigma(power, s.SNRdB)
	addNoise(dst, truth.NoiseSigma, rng)
	truth.scale(normalise(dst, s.Peak))
	return truth
}

// AddTo adds one pluck to a longer scene, from sample at to the scene's end, and returns its truth
// over that span. StartS is not used: the pluck is at sample at, which must lie within the scene.
func (s StringSpec) AddTo(scene []float64, at int, sampleRate float64, rng *rand.Rand) Truth {
	note := make([]float64, len(scene)-at)
	s.StartS = 0
	truth := s.Render(note, sampleRate, rng)
	for i, x := range note {
		scene[at+i] += x
	}
	return truth
}

// truth returns the state of the first polarisation t seconds after the pluck.
func (v *Voice) truth(t float64) Truth {
	tr := Truth{F1Hz: v.spec.F1Hz, B: v.spec.B}
	clock := v.spec.clock(max(t, 0))
	for _, m := range v.modes[:v.partials] {
		tr.Freqs = append(tr.Freqs, m.hz)
		tr.Amps = append(tr.Amps, m.amp*math.Exp(-m.decay*max(t, 0)))
		tr.Decays = append(tr.Decays, m.decay)
		phase := math.Mod(2*math.Pi*m.hz*clock+m.phase, 2*math.Pi)
		tr.Phases = append(tr.Phases, phase)
	}
	return tr
}

func (tr *Truth) scale(gain float64) {
	for i := range tr.Amps {
		tr.Amps[i] *= gain
	}
	tr.NoiseSigma *= gain
	tr.SignalRMS *= gain
}

// meanPower is the mean square of x from sample first on; 0 if nothing is left.
func meanPower(x []float64, first int) float64 {
	first = min(max(first, 0), len(x))
	sum := 0.0
	for _, v := range x[first:] {
		sum += v * v
	}
	return sum / float64(max(len(x)-first, 1))
}

func noiseSigma(power, snrDB float64) float64 {
	if math.IsNaN(snrDB) || math.IsInf(snrDB, 1) {
		return 0
	}
	return math.Sqrt(power * math.Pow(10, -snrDB/10))
}

func addNoise(dst []float64, sigma float64, rng *rand.Rand) {
	if sigma == 0 {
		return
	}
	for i := range dst {
		dst[i] += sigma * rng.NormFloat64()
	}
}

// addHum adds mains hum: the amplitudes of the five harmonics are typical of a single-coil pickup
// beside a transformer (our own figures, no source).
func addHum(dst []float64, s StringSpec, sampleRate, amplitude float64, rng *rand.Rand) {
	amplitude *= math.Pow(10, s.HumDB/20)
	for j, gain := range [...]float64{1, 0.3, 0.5, 0.15, 0.25} {
		phase := rng.Float64() * 2 * math.Pi
		omega := 2 * math.Pi * s.HumHz * float64(j+1) / sampleRate
		for i := range dst {
			dst[i] += amplitude * gain * math.Cos(omega*float64(i)+phase)
		}
	}
}

// normalise scales x to the given peak and returns the gain; silence stays as it is.
func normalise(x []float64, peak float64) float64 {
	if peak == 0 {
		peak = 0.5
	}
	top := 0.0
	for _, v := range x {
		top = max(top, math.Abs(v))
	}
	if top == 0 {
		return 1
	}
	for i := range x {
		x[i] *= peak / top
	}
	return peak / top
}
