package beats

import (
	"errors"
	"fmt"
	"math"
)

// A MeterConfig says which beats are to be measured.
type MeterConfig struct {
	SampleRate   float64 // Hz, 8000 to 192000
	Lower, Upper Tone    // what the strings are about, within half a semitone
	N, M         int     // partials that are to coincide; 0, 0: the plainest coincidence
	Seconds      float64 // of sound that is looked back at; 0: 12
}

// A Method says where a measured beat rate is from.
type Method string

const (
	// TwoLines are the coincident partials themselves, seen as two lines.
	TwoLines Method = "two lines"
	// OtherPartials of the strings, which say where the coincident ones must lie: for beats so slow
	// that the two lines cannot be told apart within the sound.
	OtherPartials Method = "other partials"
)

// A Measurement is the beating of two strings.
type Measurement struct {
	N, M    int
	Hz      float64 // where the partials beat
	BeatHz  float64 // beats a second, not negative
	SigmaHz float64 // standard uncertainty of BeatHz
	Method  Method
	// Known says that it is known, to 20:1, on which side of pure the interval is. Then Cents is by
	// how much it is wide, or if negative narrow: turning the upper string down by that, or the lower
	// one up, stops the beats. If not Known, Cents is its absolute value.
	Known      bool
	Cents      float64
	CentsSigma float64
	// LowerHz and UpperHz are the two lines, of the lower and of the upper string if Known, else
	// simply in rising order; 0 if Method is OtherPartials.
	LowerHz, UpperHz float64
	StartS, EndS     float64 // of the sound looked at, s from the first sample pushed
	Lower, Upper     Deviation
	// Ambiguous says that the two lines are not where the other partials say that they must be: one of
	// them may be something else that sounds. Then OtherHz ± OtherSigmaHz are the beats by those, and
	// the side is not Known.
	Ambiguous             bool
	OtherHz, OtherSigmaHz float64
}

// A Deviation is how far a string is off the pitch that the meter was given for it, by those of its
// partials that the other string does not cover.
type Deviation struct {
	Heard        bool
	Cents, Sigma float64 // positive is sharp
}

// Reasons why there is no measurement.
var (
	ErrTooShort = errors.New("the sound is too short")
	ErrUnheard  = errors.New("the strings are not heard")
)

const (
	defaultSeconds = 12
	skipS          = 0.4  // s after the pluck, in which pitches glide
	leastS         = 0.6  // s of sound that can be measured
	enoughBeats    = 12.0 // in a window; more sound adds only what strings do besides
	mostOthers     = 9    // highest partial by which the strings are told apart
	searchCents    = 45   // about the given pitches
	odds           = 20.0 // at which a side is called known
)

// A Meter measures the beats of two strings from the sound of both. It serves one goroutine.
type Meter struct {
	cfg     MeterConfig
	hop     int
	rate    float64 // outputs of the bands a second
	longest int     // samples of the longest window
	history []float64
	pending int // samples pushed since the last output
	outputs int // so far
	keep    int // outputs kept
	level   []float64
	main    *band
	others  [2][]other // of the lower and the upper string
}

// An other is a partial of one string that is far from all of the other string's.
type other struct {
	k int
	*band
}

// NewMeter returns a meter, or an error that says what is wrong with the configuration.
func NewMeter(cfg MeterConfig) (*Meter, error) {
	if !(cfg.SampleRate >= 8000 && cfg.SampleRate <= 192000) {
		return nil, fmt.Errorf("sample rate %g Hz is outside 8000 to 192000 Hz", cfg.SampleRate)
	}
	if cfg.Upper.Hz < cfg.Lower.Hz {
		return nil, fmt.Errorf("%s is not below %s", cfg.Lower.Label, cfg.Upper.Label)
	}
	if cfg.N == 0 {
		found := Coincidences(cfg.Lower, cfg.Upper, DefaultPartials, DefaultWithin)
		if len(found) == 0 {
			return nil, fmt.Errorf("no partials of %s and %s lie near one another", cfg.Lower.Label, cfg.Upper.Label)
		}
		cfg.N, cfg.M = found[0].N, found[0].M
	}
	if cfg.Seconds == 0 {
		cfg.Seconds = defaultSeconds
	}
	m := &Meter{cfg: cfg, hop: max(1, int(cfg.SampleRate/150))}
	m.rate = cfg.SampleRate / float64(m.hop)
	if err := m.placeBands(); err != nil {
		return nil, err
	}
	m.keep = int(cfg.Seconds * m.rate)
	return m, nil
}

// placeBands chooses the bands and their lengths: that of the coincidence reaches to the next
// partial of either string, the others to the nearest of the other string.
func (m *Meter) placeBands() error {
	c := At(m.cfg.Lower, m.cfg.Upper, m.cfg.N, m.cfg.M)
	if c.Hz() > 0.45*m.cfg.SampleRate {
		return fmt.Errorf("partials %d and %d lie at %.0f Hz, beyond what %g samples a second hold", c.N, c.M, c.Hz(), m.cfg.SampleRate)
	}
	const most, least = 60, 12 // Hz: wider lets noise in, narrower cuts beats off
	reach := min(most, 0.85*m.cfg.Lower.Hz)
	m.main = newBand(c.Hz(), max(reach, least), m.cfg.SampleRate, m.hop)
	tones := [2]Tone{m.cfg.Lower, m.cfg.Upper}
	shared := [2]int{m.cfg.N, m.cfg.M}
	for i, t := range tones {
		for k := 1; k <= mostOthers; k++ {
			hz := t.Partial(k)
			gap := min(0.85*t.Hz, clearance(tones[1-i], hz))
			if k%shared[i] == 0 || gap < least+hz*math.Ln2/1200*searchCents || hz > 0.45*m.cfg.SampleRate {
				continue
			}
			m.others[i] = append(m.others[i], other{k, newBand(hz, min(gap, most), m.cfg.SampleRate, m.hop)})
		}
	}
	for b := range m.bands() {
		m.longest = max(m.longest, len(b.taps))
	}
	return nil
}

// clearance is how far hz is from the nearest partial of t.
func clearance(t Tone, hz float64) float64 {
	gap := math.Inf(1)
	for k := 1; k <= 4*mostOthers; k++ {
		gap = min(gap, math.Abs(hz-t.Partial(k)))
	}
	return gap
}

// bands are all of them.
func (m *Meter) bands() func(yield func(*band) bool) {
	return func(yield func(*band) bool) {
		if !yield(m.main) {
			return
		}
		for _, list := range m.others {
			for _, o := range list {
				if !yield(o.band) {
					return
				}
			}
		}
	}
}

// Push takes the next samples.
func (m *Meter) Push(samples []float64) {
	for len(samples) > 0 {
		n := min(m.hop-m.pending, len(samples))
		m.history = append(m.history, samples[:n]...)
		m.pending += n
		samples = samples[n:]
		if m.pending == m.hop {
			m.pending = 0
			m.output()
		}
	}
}

// output computes the next sample of every band, once there is enough sound.
func (m *Meter) output() {
	if len(m.history) < m.longest+m.hop {
		return
	}
	for b := range m.bands() {
		b.take(m.history, m.longest, m.outputs)
		b.out = last(b.out, m.keep)
	}
	middle := m.history[len(m.history)-m.longest/2-m.hop : len(m.history)-m.longest/2]
	sum := 0.0
	for _, x := range middle {
		sum += x * x
	}
	m.level = last(append(m.level, sum), m.keep)
	m.history = last(m.history, m.longest)
	m.outputs++
}

// last drops all but the last n of x, now and then.
func last[T any](x []T, n int) []T {
	if len(x) >= 2*n+1 {
		return append(x[:0], x[len(x)-n:]...)
	}
	return x
}

// Reset forgets the sound so far, as after a gap.
func (m *Meter) Reset() {
	for b := range m.bands() {
		b.out = b.out[:0]
	}
	m.level, m.history, m.pending, m.outputs = m.level[:0], m.history[:0], 0, 0
}

// sharper is how many times as sharp as the prediction two lines must be to say more than it: a line
// that dies at once is no partial of a string that rings. Chosen on 267
// intervals 10 to 40 cents off pure, and tried on 836 with other seeds, half of them 7/4 by more than 12
// cents: at 1, 2, 3 and 4 there are 21, 7, 2 and 1 ambiguous, and 7, 5, 5 and 5 wrong beyond 4σ. It
// costs pairs near pure sharpness: their σ grows by 0, 1, 4 and 7 % in the mean.
const sharper = 3

// Measure measures the beats of what sounds since the last pluck.
func (m *Meter) Measure() (Measurement, error) {
	from, to := m.span()
	if float64(to-from) < leastS*m.rate {
		return Measurement{}, ErrTooShort
	}
	predicted := m.predict(from, to)
	for i, t := range [2]Tone{m.cfg.Lower, m.cfg.Upper} {
		if len(m.others[i]) > 0 && !predicted.strings[i].Heard {
			return Measurement{}, fmt.Errorf("%w: nothing within %d cents of %s", ErrUnheard, searchCents, t.Label)
		}
	}
	best := m.twoLines(from, to, predicted)
	out := Measurement{N: m.cfg.N, M: m.cfg.M, Lower: predicted.strings[0], Upper: predicted.strings[1]}
	if best.split || predicted.split {
		best.widen(m.rate)
	}
	second := func(i int) float64 {
		return float64(m.outputs-len(m.main.out)+i)/m.rate + float64(m.longest/2)/m.cfg.SampleRate
	}
	out.StartS, out.EndS = second(best.from), second(best.to)
	switch {
	case best.found && !best.weak && !(best.sigma > predicted.sigma/sharper),
		best.found && best.weak && predicted.known && best.sigma < predicted.sigma && best.beat < 1/(second(best.to)-second(best.from)):
		out.take(best, predicted)
	case predicted.known:
		out.StartS, out.EndS = second(from), second(to)
		out.predicted(predicted)
	default:
		return Measurement{}, ErrUnheard
	}
	return out, nil
}

// span is the sound to look at, by its outputs: from a little after the last pluck on. A pluck is
// the loudest moment, or a later sudden rise.
func (m *Meter) span() (from, to int) {
	level := smooth(m.level, int(0.05*m.rate))
	to = len(level)
	if to == 0 {
		return 0, 0
	}
	loudest := 0
	for i, v := range level {
		if v > level[loudest] {
			loudest = i
		}
	}
	pluck := loudest
	step := int(0.08 * m.rate)
	for i := loudest + step; i < to; i++ {
		if level[i] > 16*level[i-step] && level[i] > 0.01*level[loudest] {
			pluck = i
		}
	}
	// The windows of the bands reach back, so that they are clear of the pluck only after half of one.
	return min(to, pluck+int(skipS*m.rate)+m.longest/2/m.hop), to
}

// smooth is the running mean of n values.
func smooth(x []float64, n int) []float64 {
	out := make([]float64, len(x))
	sum := 0.0
	for i, v := range x {
		sum += v
		if i >= n {
			sum -= x[i-n]
		}
		out[max(0, i-n/2)] = sum / float64(min(i+1, n))
	}
	for i := max(0, len(x)-n/2); i < len(x) && i > 0; i++ {
		out[i] = out[i-1]
	}
	return out
}
