package beats

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
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
}

// A Deviation is how far a string is off the pitch that the meter was given for it, by those of its
// partials that the other string does not cover.
type Deviation struct {
	Heard        bool
	Cents, Sigma float64 // positive is sharp
}

// Reasons why there is no measurement.
var (
	ErrTooShort = errors.New("beats: the sound is too short")
	ErrUnheard  = errors.New("beats: the strings are not heard")
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
		return nil, fmt.Errorf("beats: sample rate %g Hz is outside 8000 to 192000 Hz", cfg.SampleRate)
	}
	if cfg.Upper.Hz < cfg.Lower.Hz {
		return nil, fmt.Errorf("beats: %s is not below %s", cfg.Lower.Label, cfg.Upper.Label)
	}
	if cfg.N == 0 {
		found := Coincidences(cfg.Lower, cfg.Upper, DefaultPartials, DefaultWithin)
		if len(found) == 0 {
			return nil, fmt.Errorf("beats: no partials of %s and %s lie near one another", cfg.Lower.Label, cfg.Upper.Label)
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
		return fmt.Errorf("beats: partials %d and %d lie at %.0f Hz, beyond what %g samples a second hold", c.N, c.M, c.Hz(), m.cfg.SampleRate)
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
	best, err := m.twoLines(from, to, predicted)
	if err != nil {
		return Measurement{}, err
	}
	out := Measurement{N: m.cfg.N, M: m.cfg.M, Lower: predicted.strings[0], Upper: predicted.strings[1]}
	if best.split || predicted.split {
		best.widen(m.rate)
	}
	second := func(i int) float64 {
		return float64(m.outputs-len(m.main.out)+i)/m.rate + float64(m.longest/2)/m.cfg.SampleRate
	}
	out.StartS, out.EndS = second(best.from), second(best.to)
	switch {
	case best.found && !best.weak && best.sigma < 3*predicted.sigma,
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

// A rate is the beat rate by one method.
type rate struct {
	found, known bool
	weak         bool // one line would do as well: there is no second, or it is too near
	split        bool // partials of the strings are no single lines
	strings      [2]Deviation
	from, to     int
	beat, sigma  float64 // Hz; beat is signed if the method knows the side
	hz           float64
	low, high    float64 // the lines, Hz
}

// twoLines fits two lines to the coincidence. A window of many beats is shortened.
func (m *Meter) twoLines(from, to int, predicted rate) (rate, error) {
	r, err := m.fitTwo(from, to, predicted)
	if err != nil || !r.found {
		return r, err
	}
	if short := from + int(max(1.5, enoughBeats/r.beat)*m.rate); short < to {
		if again, err := m.fitTwo(from, short, predicted); err == nil && again.found {
			return again, nil
		}
	}
	return r, nil
}

// faded is how many times as long as to the centroid of its energy a decaying sound is looked at: an
// exponential has then fallen by 60 dB.
const faded = 14

// significant is by how much two lines must be likelier than one, as a logarithm: 4 unknowns more
// and some dozen tries give 12 by chance about once in a thousand.
const significant = 12

// weakDoubt widens σ where two lines are hardly told apart: the likelihood is far from normal there.
// With it the share of trials within 1.96σ is as it should be; see TestMeterCoverage.
const weakDoubt = 2

func (m *Meter) fitTwo(from, to int, predicted rate) (rate, error) {
	width := m.main.width()
	to = min(to, from+max(int(leastS*m.rate), int(faded*centroid(m.main.out[from:to]))))
	f := newLineFitter(m.main.out[from:to], m.rate, width)
	peak, height := f.peak(width)
	if height < 20*f.noise {
		return rate{}, ErrUnheard
	}
	one, ok := f.fit(peak)
	if !ok {
		return rate{}, ErrUnheard
	}
	r := rate{from: from, to: to, hz: m.main.hz + one.lines[0].hz()}
	two, ok := f.fitBest(one.lines[0].hz(), width, predicted)
	if !ok {
		return r, nil
	}
	noise, untrue := f.noiseNear(two, width)
	r.weak = one.cost-two.cost < significant*max(1, noise/f.noise)
	slices.SortFunc(two.lines, func(a, b line) int { return cmp.Compare(a.hz(), b.hz()) })
	cov, ok := f.covariance(two, noise)
	if !ok {
		return r, nil
	}
	low, high := two.lines[0].hz(), two.lines[1].hz()
	variance := cov.At(3, 3) + cov.At(7, 7) - 2*cov.At(3, 7)
	r.found = true
	r.beat, r.sigma = high-low, math.Sqrt(variance)/(2*math.Pi)
	if r.weak {
		r.sigma *= weakDoubt
	}
	r.split = untrue
	r.low, r.high = m.main.hz+low, m.main.hz+high
	return r, nil
}

// peak is the highest line of the window, in Hz from the centre, and its height.
func (f *lineFitter) peak(width float64) (at, height float64) {
	power, hz := f.spectrum(f.z, true)
	for i, p := range power {
		if math.Abs(hz[i]) <= width && p > height {
			at, height = hz[i], p
		}
	}
	return at, height
}

// ownHz is how far apart the two polarisations of one string may sound, in Hz.
const ownHz = 1.0

// believable says whether two lines so far apart can be those of the two strings. If they are near
// together and the strings are predicted to be farther apart, they are a loud string's own two
// polarisations.
func (r *rate) believable(beat float64) bool {
	return !r.known || beat > ownHz || math.Abs(r.beat)-3.5*r.sigma < beat
}

// fitBest fits two lines from many starts: the one already found with each of the highest others
// that is left without it, with one as far off as predicted, and splits of it closer than the window
// resolves. It returns the likeliest that is believable.
func (f *lineFitter) fitBest(one, width float64, predicted rate) (lineFit, bool) {
	resolution := f.rate / float64(len(f.z))
	var best lineFit
	found := false
	try := func(a, b float64) {
		fit, ok := f.fit(a, b)
		if ok && f.sane(fit, width) && predicted.believable(math.Abs(fit.lines[0].hz()-fit.lines[1].hz())) &&
			(!found || fit.cost < best.cost) {
			best, found = fit, true
		}
	}
	if predicted.known {
		try(one, one+predicted.beat)
		try(one, one-predicted.beat)
	}
	single, _ := f.fit(one)
	f.weigh(&single)
	power, hz := f.spectrum(f.left, true)
	for range 3 {
		top := 0
		for i, p := range power {
			if math.Abs(hz[i]) <= width && p > power[top] {
				top = i
			}
		}
		if math.Abs(hz[top]-one) > 0.2*resolution {
			try(one, hz[top])
		}
		for i := range power {
			if math.Abs(hz[i]-hz[top]) < 2*resolution {
				power[i] = 0
			}
		}
	}
	for _, split := range []float64{0.2, 0.5, 0.9, 1.4} {
		d := split * resolution
		try(one-d/2, one+d/2)
		try(one, one+d)
		try(one-d, one)
	}
	return best, found
}

// sane refuses fits that have run out of the band or made two strong lines that cancel.
func (f *lineFitter) sane(fit lineFit, width float64) bool {
	top := 0.0
	for _, v := range f.z {
		top = max(top, real(v)*real(v)+imag(v)*imag(v))
	}
	first, last := f.t[0], f.t[len(f.t)-1]
	for _, l := range fit.lines {
		loud := cmplx.Abs(l.c) * math.Exp(max(real(l.s)*first, real(l.s)*last))
		if math.Abs(l.hz()) > width || loud*loud > 50*top {
			return false
		}
	}
	return true
}

// splitCents is how far a line of a real string may be off for being two lines itself, its two
// polarisations, if it is well apart from the other string's.
const splitCents = 0.13

// widen adds to σ what two lines cannot tell of strings whose partials are no single lines: the less
// the fewer the beats in the window. The size is measured; see TestMeterCoverage.
func (r *rate) widen(perSecond float64) {
	beats := max(r.beat*float64(r.to-r.from)/perSecond, 0.2)
	r.sigma = math.Hypot(r.sigma, splitCents*(1+2/beats)*r.hz*math.Ln2/1200)
}

// take fills in the two lines, and the side from what the other partials say.
func (out *Measurement) take(two, predicted rate) {
	out.Method = TwoLines
	out.Hz = (two.low + two.high) / 2
	out.BeatHz, out.SigmaHz = two.beat, two.sigma
	out.LowerHz, out.UpperHz = two.low, two.high
	out.Cents = 1200 * math.Log2(two.high/two.low)
	out.CentsSigma = 1200 / math.Ln2 * two.sigma / out.Hz
	if !predicted.known {
		return
	}
	// Both sides are as likely before; the prediction is normal about its value.
	leaning := 2 * two.beat * predicted.beat / (predicted.sigma*predicted.sigma + two.sigma*two.sigma)
	if math.Abs(leaning) < math.Log(odds) {
		return
	}
	out.Known = true
	if leaning < 0 {
		out.Cents = -out.Cents
		out.LowerHz, out.UpperHz = two.high, two.low
	}
}

// predicted fills in what the other partials alone say.
func (out *Measurement) predicted(p rate) {
	out.Method, out.Hz = OtherPartials, p.hz
	out.BeatHz, out.SigmaHz = math.Abs(p.beat), p.sigma
	out.Cents = 1200 * math.Log2((p.hz+p.beat/2)/(p.hz-p.beat/2))
	out.CentsSigma = 1200 / math.Ln2 * p.sigma / p.hz
	out.Known = normalOdds(p.beat/p.sigma) > odds
	if !out.Known {
		out.Cents = math.Abs(out.Cents)
	}
}

// normalOdds are the odds that a normal value lies on the side of 0 of its mean, z sigma away.
func normalOdds(z float64) float64 {
	beyond := math.Erfc(math.Abs(z)/math.Sqrt2) / 2
	return (1 - beyond) / max(beyond, 1e-300)
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[len(x)/2]
}
