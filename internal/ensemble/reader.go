package ensemble

import (
	"fmt"
	"math"

	"tunerd/internal/stiffstring"
)

// A String is one string of the instrument, or one note of a chord.
type String struct {
	Number int     // as the player counts; only handed back
	Label  string  // name of the target; only handed back
	Hz     float64 // target of partial 1
	B      float64 // inharmonicity if it is known; 0: not known
	BPart  float64 // standard uncertainty of B as a part of it; 0: 0.12
}

// Config says what a reader listens for.
type Config struct {
	SampleRate float64 // Hz, 8000 to 192000
	Strings    []String
}

// A StringReading is what is known of one string.
type StringReading struct {
	String     String
	Sounding   bool
	Hidden     bool    // what sounds at its partials can all be that of others: it may sound or not
	F1Hz       float64 // partial 1 under the fitted law, in the middle of the window; 0 if silent
	Cents      float64 // against the target, positive is sharp
	SigmaCents float64 // standard uncertainty of F1Hz
	B, BSigma  float64 // inharmonicity
	DriftCents float64 // [cents/s] glide
	Partial1Hz float64 // the lowest partial as measured; 0 if it is not heard
	LevelDB    float64 // RMS of its partials, dB re full scale
	SNRdB      float64 // their power over the noise in the bands that they take up
	Heard      int     // partials that stand out

	decay float64 // [1/s] of the amplitudes of these, weighted by power
}

// Limits of a window, in seconds.
const (
	MinWindow = 0.3
	MaxWindow = 2.0
)

// topPartial is the partial of the highest string up to which all strings are modelled, each as
// far as that frequency.
const (
	topPartial   = 8
	mostPartials = 36 // of one string
	maxStrings   = 64
)

// blockRate is how many sub-blocks a second the bank keeps. What lies as far from a multiple of that as a partial lies
// from its own frequency is seen there too, 40 to 50 dB down; at half that rate it was most of what the fit left.
const blockRate = 3000.0 // Hz

// A voice is one string under measurement.
type voice struct {
	target   float64 // [Hz]
	partials int
	top      float64 // [Hz] no partial above

	known     bool    // B is
	meanOfB   float64 // prior
	sigmaOfB  float64
	spreadOfB float64 // of ln B, for the search

	candidate bool    // it may sound
	before    bool    // it was, before another way was tried
	rival     float64 // [cents] standard deviation over this pitch and another that is as likely or less
	aside     float64 // [cents] from this pitch to the mean over both
	hidden    bool    // what sounds at its partials may all be others'
	dropped   float64 // [nepers] odds at which it was given up
	sought    bool    // found in what the others leave
	claims    []int   // peaks that the others explained when it was last looked for

	f1, b         float64 // [Hz]
	bend          float64 // [1/s] relative glide
	sigma         float64 // [cents]
	sigmaB        float64
	sigmaFB       float64 // covariance
	df, db        float64 // last step of the law, [cents] and B
	bendInfo      float64
	bendPull      float64
	start, startB float64 // prior of f1 [Hz] and B while the fit grows
	startSigma    float64 // [cents]
	startSigmaB   float64
	first, firstB float64 // f1 [Hz] and B as the search has found them
	firstSigma    float64
	firstSigmaB   float64
	tryF1, tryB   float64 // f1 [Hz] and B at which it is to be tried once more
	trySigma      float64
	trySigmaB     float64

	evidence
}

// A Reader reads windows of sound. Which of two strings tuned to the same pitch has which reading
// it cannot know. It holds its work space, allocates nothing once it has seen a
// window of the greatest length, and serves one goroutine.
type Reader struct {
	cfg      Config
	voices   []voice
	bank     *bank
	spectra  []*spectrum
	spectrum *spectrum // the one in use
	fit      fit
	out      []StringReading
	tries    int       // of other ways, in this window
	unlisted []float64 // [Hz] see findUnlisted; of the last window that was searched
}

// NewReader returns a reader for the strings of cfg.
func NewReader(cfg Config) (*Reader, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	r := &Reader{cfg: cfg, out: make([]StringReading, len(cfg.Strings))}
	top := 0.0
	for _, s := range cfg.Strings {
		top = math.Max(top, s.Hz)
	}
	top = math.Min(top*(topPartial+0.5), 0.42*cfg.SampleRate)
	m := int(math.Round(cfg.SampleRate / blockRate))
	if top > 4000 {
		m = max(4, int(math.Round(cfg.SampleRate/(2*blockRate))))
	}
	var omega []float64
	for i, s := range cfg.Strings {
		v := newVoice(s, top)
		r.voices = append(r.voices, v)
		for k := 1; k <= v.partials; k++ {
			r.fit.partials = append(r.fit.partials, partial{voice: i, k: k, row: len(omega)})
			omega = append(omega, 2*math.Pi*stiffstring.PartialHz(v.target, v.meanOfB, k)/cfg.SampleRate)
		}
	}
	r.bank = newBank(omega, m, 2*int(MaxWindow*cfg.SampleRate)/m)
	for _, seconds := range spectrumSeconds {
		n := int(seconds*cfg.SampleRate) - m // a window may lose up to a sub-block
		r.spectra = append(r.spectra, newSpectrum(n, cfg.SampleRate, top))
	}
	r.fit.prepare(cfg.SampleRate)
	return r, nil
}

func (cfg *Config) check() error {
	if !(cfg.SampleRate >= 8000 && cfg.SampleRate <= 192000) {
		return fmt.Errorf("sample rate %g Hz is outside 8000-192000 Hz", cfg.SampleRate)
	}
	if n := len(cfg.Strings); n == 0 || n > maxStrings {
		return fmt.Errorf("%d strings; 1 to %d can be read at once", n, maxStrings)
	}
	for _, s := range cfg.Strings {
		if !(s.Hz >= 20 && s.Hz <= 0.2*cfg.SampleRate && s.Hz <= 5000) {
			return fmt.Errorf("string %d at %g Hz is outside 20-%g Hz", s.Number, s.Hz, math.Min(5000, 0.2*cfg.SampleRate))
		}
		if !(s.B >= 0 && s.B < 0.05) {
			return fmt.Errorf("string %d: inharmonicity %g is outside 0-0.05", s.Number, s.B)
		}
	}
	return nil
}

// measuredB is how well a measured inharmonicity is known, as a part of it.
const measuredB = 0.12

// newVoice prepares for a string. A B that was not measured, but computed from string data, only says
// where to begin. Where nothing is known of B its prior covers strings of guitars,
// basses and the lower piano (0 to 4e-4) and the growth towards the top of a piano, as in
// R. W. Young, J. Acoust. Soc. Am. 24 (1952) 267.
func newVoice(s String, top float64) voice {
	v := voice{target: s.Hz, top: top}
	part := s.BPart
	if part == 0 {
		part = measuredB
	}
	high := math.Pow(s.Hz/2000, 1.8) * 4e-3
	v.spreadOfB = spreadOfB
	switch {
	case s.B == 0:
		v.meanOfB, v.sigmaOfB = 8e-5+high/4, 6e-5+high
	case part <= 2*measuredB:
		v.known = true
		v.meanOfB, v.sigmaOfB, v.spreadOfB = s.B, part*s.B+2e-6, 1.2*part
	default:
		v.meanOfB, v.sigmaOfB, v.spreadOfB = s.B, math.Hypot(part*s.B, 6e-5+high), math.Max(spreadOfB, 1.2*part)
	}
	for v.partials < mostPartials && stiffstring.PartialHz(s.Hz, v.meanOfB, v.partials+1) < top {
		v.partials++
	}
	v.partials = max(v.partials, 1)
	return v
}

// Read reads the strings from the samples of one window, in which no string is plucked or
// stopped, 0.3 s long at least; of more than 2 s it takes the last two. The result is valid until
// the next call.
func (r *Reader) Read(samples []float64) ([]StringReading, error) {
	if s := float64(len(samples)) / r.cfg.SampleRate; s < MinWindow {
		return nil, fmt.Errorf("a window of %.3g s is shorter than %g s", s, MinWindow)
	}
	if most := int(MaxWindow * r.cfg.SampleRate); len(samples) > most {
		samples = samples[len(samples)-most:]
	}
	r.bank.n = 0
	m := r.bank.m
	samples = samples[len(samples)%m:]
	for at := 0; at < len(samples); at += m {
		r.bank.push(samples[at : at+m])
	}
	return r.read(samples, 0, r.bank.n, false), nil
}

// read reads the sub-blocks [from, to) of the bank, which hold samples. With carry it starts from
// what it has read last instead of searching, and finds no string that was silent then.
func (r *Reader) read(samples []float64, from, to int, carry bool) []StringReading {
	if carry {
		for i := range r.voices {
			v := &r.voices[i]
			v.sigma, v.sigmaB = v.sigma+0.5, v.sigmaB+2e-6
		}
	} else {
		r.look(samples)
	}
	r.measure(from, to, carry)
	if !carry {
		r.findUnlisted()
	}
	return r.report()
}

// spectrumSeconds are the lengths of sound that are searched for peaks; the longest that the
// window holds is taken from its middle.
var spectrumSeconds = [...]float64{MinWindow, 0.45, 0.7, 1}

// look searches the middle of the window.
func (r *Reader) look(samples []float64) {
	for _, s := range r.spectra {
		if s.n <= len(samples) {
			r.spectrum = s
		}
	}
	first := (len(samples) - r.spectrum.n) / 2
	r.spectrum.find(samples[first : first+r.spectrum.n])
	r.search()
}

// measure fits the candidates together, dropping one at a time the string that is least likely to
// sound, until all that are left are sure to.
func (r *Reader) measure(from, to int, carry bool) {
	for i := range r.voices {
		v := &r.voices[i]
		v.hidden = v.hidden && carry
		v.dropped, v.sought = 0, v.sought && carry
		if !carry {
			v.rival, v.aside = 0, 0
		}
		v.first, v.firstB, v.firstSigma, v.firstSigmaB = v.f1, v.b, v.sigma, v.sigmaB
	}
	if !r.prune(from, to, carry) {
		return
	}
	if !carry && r.seek() && !r.prune(from, to, carry) {
		return
	}
	if carry {
		return // what was found when it was last searched still holds
	}
	r.tries = 0
	for range swapRounds {
		if !r.swapFitted(from, to) || !r.prune(from, to, carry) {
			return
		}
	}
}

// prune drops one at a time the string that is least likely to sound, and reports whether any is left.
func (r *Reader) prune(from, to int, carry bool) bool {
	for r.fitOnce(from, to, carry) {
		worst := -1
		for i := range r.voices {
			v := &r.voices[i]
			if v.candidate && !v.sounds() && (worst < 0 || v.odds < r.voices[worst].odds) {
				worst = i
			}
		}
		if worst < 0 {
			return true
		}
		v := &r.voices[worst]
		v.candidate, v.hidden, v.dropped = false, v.mayHide(), v.odds
	}
	return false
}

// seek looks for the strings that have been dropped where those that sound leave peaks, and reports
// whether one may be elsewhere than where it was tried. Then all of them are candidates once more.
func (r *Reader) seek() bool {
	found := false
	for i := range r.voices {
		if v := &r.voices[i]; !v.candidate {
			v.sought = v.dropped < 0 && r.again(i)
			found = found || v.sought
		}
	}
	for i := range r.voices {
		v := &r.voices[i]
		v.candidate = v.candidate || found && (v.sought || v.hidden)
		v.hidden = v.hidden && !v.candidate
	}
	return found
}

// fitOnce fits all candidates afresh and weighs what is heard of them.
func (r *Reader) fitOnce(from, to int, carry bool) bool {
	f := &r.fit
	any := false
	for i := range r.voices {
		v := &r.voices[i]
		v.f1, v.b, v.sigma, v.sigmaB = v.first, v.firstB, v.firstSigma, v.firstSigmaB
		v.sigmaFB = 0
		if !carry {
			v.bend = 0
		}
		v.start, v.startSigma = v.first, 1+2*v.firstSigma
		v.startB, v.startSigmaB = v.firstB, 3*v.firstSigmaB
		any = any || v.candidate
	}
	if !any {
		return false
	}
	f.begin(r.bank, from, to, carry)
	ok := f.converge(r.bank, r.voices)
	for i := range r.voices {
		r.voices[i].startSigma, r.voices[i].startSigmaB = 2*searchCents, 1
	}
	if !carry {
		f.reach = farPoints
	}
	for range 3 {
		if !ok {
			break
		}
		f.straighten(r.voices)
		f.sweep(r.voices)
		f.expect()
		if ok = f.law.solve(f, r.voices); ok {
			f.apply(r.voices)
		}
	}
	if ok {
		f.sweep(r.voices)
		ok = f.settle(r.voices)
	}
	if !ok {
		for i := range r.voices {
			r.voices[i].candidate = false
		}
		return false
	}
	f.weigh(r.voices)
	return true
}

// unseparated returns how well (cents) the pitch of a string is known of which only that is known
// that its partials lie within those of others: half the resolution of the window.
func unseparated(hz, seconds float64) float64 {
	return stiffstring.CentsPerNeper * 0.5 / (seconds * hz)
}

// report puts the result into the form that is handed out.
func (r *Reader) report() []StringReading {
	for i := range r.out {
		v := &r.voices[i]
		out := &r.out[i]
		*out = StringReading{String: r.cfg.Strings[i], Hidden: v.hidden}
		if v.hidden {
			out.F1Hz = v.first
			out.Cents = stiffstring.CentsPerNeper * math.Log(v.first/v.target)
			out.SigmaCents = math.Hypot(v.firstSigma, unseparated(v.first, r.fit.seconds))
		}
		if !v.candidate {
			continue
		}
		out.Sounding = true
		out.F1Hz = v.f1 * math.Exp(v.aside/stiffstring.CentsPerNeper)
		out.Cents = stiffstring.CentsPerNeper * math.Log(out.F1Hz/v.target)
		out.DriftCents = v.bend * stiffstring.CentsPerNeper
		out.SigmaCents = math.Sqrt(r.fit.part*sq(v.sigma*r.fit.scatter.doubt(v.heard)) + sq(r.fit.common()) + sq(0.1*out.DriftCents*r.fit.seconds))
		out.SigmaCents = math.Hypot(out.SigmaCents, v.rival)
		if r.twinHidden(i) {
			out.SigmaCents = math.Hypot(out.SigmaCents, unseparated(v.f1, r.fit.seconds)/4)
		}
		out.B, out.BSigma = v.b, v.sigmaB
		out.Heard = v.heard
		out.LevelDB = 10 * math.Log10(v.power/2+1e-30)
		out.SNRdB = 10 * math.Log10(v.snr())
		out.decay = v.decay
	}
	for i := range r.fit.partials {
		if p := &r.fit.partials[i]; p.k == 1 && p.heard && r.out[p.voice].Sounding {
			r.out[p.voice].Partial1Hz = p.hz
		}
	}
	return r.out
}

// twinHidden reports whether a string tuned to nearly the same pitch may sound together with
// string i: the reading lies then somewhere between the two.
func (r *Reader) twinHidden(i int) bool {
	for j := range r.voices {
		if v := &r.voices[j]; v.hidden && math.Abs(stiffstring.CentsPerNeper*math.Log(v.target/r.voices[i].target)) < searchCents {
			return true
		}
	}
	return false
}
