package pitch

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// An echo is what rings on of the notes before the present one: other strings that nobody has stopped. Two
// strings a fourth apart have the period of a note two octaves below, so what rings on is foretold, from the
// last instants before the onset, as partials that die down, and taken out of all samples from the onset on,
// once these have shown that it does ring on.
type echo struct {
	voices  []voice
	asked   voice     // of the last note: whether it rings on is not known yet
	once    bool      // that was asked a first time
	pending bool      // it is too early to ask, and nothing else can be read beside it
	sum     []float64 // work space
	hann    []float64
}

// A voice is one note that rings on.
type voice struct {
	tones []stringfit.Tone
	at    int64   // sample index that the tones stand at
	hz    float64 // pitch of the note
	match float64 // smoothed share of it that was found in what is left: -1 if it has been stopped
}

const (
	echoFitS        = 0.2   // s before an onset that tell what rings on
	echoAskS        = 0.03  // s after it that tell whether what is loud does, at least
	echoPeriods     = 2.0   // of its pitch, the same
	echoTellS       = 0.1   // the same of what is faint
	echoTellPeriods = 5.0   // of its pitch
	echoTold        = 9     // partials that tell, the loudest
	echoLeastDB     = 60.0  // below the loudest up to which one is taken out
	echoLow         = 0.7   // of itself that must be found of what rings on, and
	echoHigh        = 1.4   // at most
	echoLoud        = 0.15  // of the power after the onset from which nothing can be read beside it
	echoFaint       = 0.002 // up to which it does not matter
	echoStopped     = -0.5  // of itself that is found in what is left when it was stopped since
	echoSmoothS     = 0.05  // s over which that is seen
	echoMostKept    = 8     // notes that are taken out at a time
)

// foretell asks, of the note that sounded up to the onset at sample at, how it will go on.
func (t *Tracker) foretell(at int64) {
	e := &t.echo
	end := at - int64(t.frame) // the onset is seen up to a frame late
	start := max(end-int64(echoFitS*t.fs), t.past.Begin, t.body())
	if float64(end-start) < 4*t.fs/t.base.F1Hz || t.power < echoFaint*t.levels.Power {
		return
	}
	f := &t.note
	if !t.cfg.Live { // whose bank is full
		f = &t.probe
		f.Tune(t.base.F1Hz, t.base.B, start)
		f.Push(t.past.From(start, end))
	}
	m := int64(t.m)
	from, to := max(0, int((start-f.Bank.First)/m)), min(f.Bank.N, int((end-f.Bank.First)/m))
	k := t.known(t.base.F1Hz, 2+t.base.SigmaCents)
	if to-from < 6 || !f.Follow(from, to, k, stringfit.Steady, 0, 1) || math.Abs(stiffstring.Cents(f.LawHz(), t.base.F1Hz)) > stringfit.GuessLimit {
		return
	}
	e.asked = voice{tones: f.Tones(e.asked.tones, end, echoLeastDB), at: end, hz: f.LawHz()}
}

// sound fills x with what v sounds like from the sample that it stands at, and moves it there behind x.
func (v *voice) sound(x []float64) {
	clear(x)
	for i := range v.tones {
		p := &v.tones[i]
		now, step := p.Now, p.Step
		for n := range x {
			x[n] += real(now)
			now *= step
		}
		p.Now = now
	}
	v.at += int64(len(x))
}

// ask looks, after an onset, whether the note before it rings on, and takes it out of the samples if it does: soon
// where it is so loud that nothing could be read beside it, else when its partials can be told from others. It
// sets pending while too little has been heard to begin with anything.
func (t *Tracker) ask() {
	e := &t.echo
	v := &e.asked
	e.pending = false
	if len(v.tones) == 0 {
		return
	}
	early := max(echoAskS, echoPeriods/v.hz)
	switch age := t.age(); {
	case age < early:
		e.pending = v.power() > echoLoud*t.levels.Power
		return
	case e.once && age < max(echoTellS, echoTellPeriods/v.hz):
		return
	case v.at < t.past.Begin:
		v.tones = v.tones[:0]
		return
	}
	x := t.past.From(v.at, t.past.End())
	begun := min(max(0, int(t.from-v.at)), len(x))
	var all float64
	for _, s := range x[begun:] {
		all += s * s
	}
	share := v.power() * float64(len(x)-begun) / all
	again := e.once
	e.once = true
	switch {
	case !(share > echoFaint):
		v.tones = v.tones[:0]
		return
	case again:
		if m := e.found(v, x[begun:], begun); !(m > echoLow && m < echoHigh) {
			v.tones = v.tones[:0]
			return
		}
	case share < echoLoud:
		return
	}
	on := voice{tones: slices.Clone(v.tones), at: v.at, hz: v.hz}
	e.sum = scratch.Grow(e.sum, len(x))
	on.sound(e.sum)
	if !again {
		var xp, pp float64
		for i, p := range e.sum[begun:] {
			xp += x[begun+i] * p
			pp += p * p
		}
		if !(xp > echoLow*pp && xp < echoHigh*pp) {
			return
		}
	}
	for i, p := range e.sum {
		x[i] -= p
	}
	e.keep(on)
	v.tones = v.tones[:0]
	if t.phase == tracking { // what was read was read with the other in it
		t.state = t.again()
	}
}

// power returns the mean square of what v sounds like where it stands.
func (v *voice) power() float64 {
	var sum float64
	for _, p := range v.tones {
		sum += stringfit.Power(p.Now) / 2
	}
	return sum
}

// found returns what part of v is found in x, whose first sample lies so many samples after the one v stands at:
// the median over its loudest partials, for one may lie where another string has one.
func (e *echo) found(v *voice, x []float64, after int) float64 {
	slices.SortFunc(v.tones, func(a, b stringfit.Tone) int { return cmp.Compare(stringfit.Power(b.Now), stringfit.Power(a.Now)) })
	e.hann = stringfit.Hann(e.hann, len(x))
	var parts [echoTold]float64
	n := min(len(v.tones), echoTold)
	for i, p := range v.tones[:n] {
		z := p.Now * cmplx.Pow(p.Step, complex(float64(after), 0))
		var sum, all float64
		for n, s := range x {
			h := e.hann[n]
			sum += 2 * h * s * real(z)
			all += h * stringfit.Power(z)
			z *= p.Step
		}
		parts[i] = sum / all
	}
	slices.Sort(parts[:n])
	return (parts[(n-1)/2] + parts[n/2]) / 2
}

// keep adds v to what is taken out of the samples, in the place of the oldest where they are many.
func (e *echo) keep(v voice) {
	if len(e.voices) == echoMostKept {
		copy(e.voices, e.voices[1:])
		e.voices = e.voices[:echoMostKept-1]
	}
	v.match = 0
	e.voices = append(e.voices, v)
}

// takeOut takes what rings on out of the newest samples x, and forgets what is no longer there: what has died
// down, and what was stopped, which shows in x as its own opposite.
func (e *echo) takeOut(x []float64, fs float64) {
	if len(e.voices) == 0 {
		return
	}
	e.sum = scratch.Grow(e.sum, len(x))
	smooth := min(1, float64(len(x))/(echoSmoothS*fs))
	kept := e.voices[:0]
	for _, v := range e.voices {
		v.sound(e.sum)
		var xp, pp float64
		for i, p := range e.sum {
			x[i] -= p
			xp += x[i] * p
			pp += p * p
		}
		if pp <= acquire.Quietest*float64(len(x)) {
			continue
		}
		v.match += smooth * (xp/pp - v.match)
		if v.match > echoStopped {
			kept = append(kept, v)
		}
	}
	e.voices = kept
}

// renew drops the question about the last note, for one about the next.
func (e *echo) renew() { e.asked.tones, e.once = e.asked.tones[:0], false }

// forget drops all that rings on.
func (e *echo) forget() {
	e.renew()
	e.voices = e.voices[:0]
}
