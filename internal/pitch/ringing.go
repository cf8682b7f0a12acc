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

// ringingStrings are what rings on of the notes before the present one: other strings that nobody has stopped. Two
// strings a fourth apart have the period of a note two octaves below, so what rings on is predicted, from the
// last instants before the onset, as partials that die down, and subtracted from all samples from the onset on,
// once these have shown that it does ring on.
type ringingStrings struct {
	notes     []ringingNote
	candidate ringingNote // of the last note: whether it rings on is not known yet
	triedSoon bool        // it was compared with the samples a first time
	pending   bool        // it is too early for that, and nothing else can be read beside it
	sum       []float64   // work space
	hann      []float64
}

// A ringingNote is one note that rings on.
type ringingNote struct {
	tones []stringfit.Tone
	at    int64   // sample index that the tones are given for
	hz    float64 // pitch of the note
	match float64 // smoothed share of it that was found in what is left: -1 if it has been stopped
}

// Chosen, not tuned on a cell of the accuracy tables: so that notes plucked over others that ring are read as if they
// rang alone (ringing_test.go).
const (
	ringingFitS        = 0.2  // s before an onset that tell what rings on, and
	ringingFitLeast    = 4    // periods that must lie within them
	ringingSoonS       = 0.03 // s after it that tell whether what is loud does, at least, and
	ringingSoonPeriods = 2.0  // of its pitch
	ringingLateS       = 0.1  // the same of what is faint, and
	ringingLatePeriods = 5.0
	ringingTold        = 9     // partials that tell, the loudest
	ringingLeastDB     = 60.0  // below the loudest up to which one is subtracted
	ringingLow         = 0.7   // of itself that must be found of what rings on, and
	ringingHigh        = 1.4   // at most
	ringingLoud        = 0.15  // of the power after the onset from which nothing can be read beside it
	ringingFaint       = 0.002 // up to which it does not matter
	ringingStopped     = -0.5  // of itself that is found in what is left when it was stopped since
	ringingSmoothS     = 0.05  // s over which that is seen
	ringingMost        = 8     // notes that are subtracted at a time
)

// predictDecay asks, of the note that sounded up to the onset at sample at, how it will go on.
func (t *Tracker) predictDecay(at int64) {
	e := &t.ringing
	end := at - int64(t.frame) // the onset is seen up to a frame late
	start := max(end-int64(ringingFitS*t.fs), t.past.Begin, t.body())
	if float64(end-start) < ringingFitLeast*t.fs/t.base.F1Hz || t.power < ringingFaint*t.levels.Power {
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
	k := t.startNear(t.base.F1Hz, 2+t.base.SigmaCents)
	if to-from < leastFitBlocks || !f.Follow(from, to, k, stringfit.Steady, 0, 1) || math.Abs(stiffstring.Cents(f.LawHz(), t.base.F1Hz)) > stringfit.GuessLimit {
		return
	}
	e.candidate = ringingNote{tones: f.Tones(e.candidate.tones, end, ringingLeastDB), at: end, hz: f.LawHz()}
}

// sound fills x with what v sounds like from its sample on, and moves it to the sample behind x.
func (v *ringingNote) sound(x []float64) {
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

// confirmRinging finds out, after an onset, whether the note before it rings on, and subtracts it from the samples if it
// does: soon where it is so loud that nothing could be read beside it, else when its partials can be told from others.
// It sets pending while too little has been heard to begin with anything.
func (t *Tracker) confirmRinging() {
	e := &t.ringing
	v := &e.candidate
	e.pending = false
	if len(v.tones) == 0 {
		return
	}
	switch age := t.age(); {
	case age < max(ringingSoonS, ringingSoonPeriods/v.hz):
		e.pending = v.power() > ringingLoud*t.levels.Power
		return
	case e.triedSoon && age < max(ringingLateS, ringingLatePeriods/v.hz):
		return
	case v.at < t.past.Begin:
		v.tones = v.tones[:0]
		return
	}
	x := t.past.From(v.at, t.past.End())
	begun := min(max(0, int(t.from-v.at)), len(x))
	share := v.power() * float64(len(x)-begun) / energy(x[begun:])
	late := e.triedSoon
	e.triedSoon = true
	switch {
	case !(share > ringingFaint):
		v.tones = v.tones[:0]
		return
	case late:
		if m := e.found(v, x[begun:], begun); !(m > ringingLow && m < ringingHigh) {
			v.tones = v.tones[:0]
			return
		}
	case share < ringingLoud:
		return
	}
	if e.subtractSince(x, begun, late) && t.phase == tracking { // what was read was read with the other in it
		t.state = t.reacquiring()
	}
}

// subtractSince subtracts the candidate from x, all samples since the one it is given for, and keeps it as a note that
// rings on; so long as it is not late, only if the samples from begun on hold it as a whole. It reports whether it did.
func (e *ringingStrings) subtractSince(x []float64, begun int, late bool) bool {
	v := &e.candidate
	on := ringingNote{tones: slices.Clone(v.tones), at: v.at, hz: v.hz}
	e.sum = scratch.Grow(e.sum, len(x))
	on.sound(e.sum)
	if !late {
		var xp, pp float64
		for i, p := range e.sum[begun:] {
			xp += x[begun+i] * p
			pp += p * p
		}
		if !(xp > ringingLow*pp && xp < ringingHigh*pp) {
			return false
		}
	}
	for i, p := range e.sum {
		x[i] -= p
	}
	e.keep(on)
	v.tones = v.tones[:0]
	return true
}

// energy returns the sum of the squares of x.
func energy(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return sum
}

// power returns the mean square of what v sounds like at its sample.
func (v *ringingNote) power() float64 {
	var sum float64
	for _, p := range v.tones {
		sum += stringfit.Power(p.Now) / 2
	}
	return sum
}

// found returns what part of v is found in x, whose first sample lies so many samples after that of v:
// the median over its loudest partials, for one may lie where another string has one.
func (e *ringingStrings) found(v *ringingNote, x []float64, after int) float64 {
	slices.SortFunc(v.tones, func(a, b stringfit.Tone) int { return cmp.Compare(stringfit.Power(b.Now), stringfit.Power(a.Now)) })
	e.hann = stringfit.Hann(e.hann, len(x))
	var parts [ringingTold]float64
	n := min(len(v.tones), ringingTold)
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

// keep adds v to what is subtracted from the samples, in the place of the oldest where they are many.
func (e *ringingStrings) keep(v ringingNote) {
	if len(e.notes) == ringingMost {
		copy(e.notes, e.notes[1:])
		e.notes = e.notes[:ringingMost-1]
	}
	v.match = 0
	e.notes = append(e.notes, v)
}

// subtract takes what rings on off the newest samples x, and forgets what is no longer there: what has died
// down, and what was stopped, which shows in x as its own opposite.
func (e *ringingStrings) subtract(x []float64, fs float64) {
	if len(e.notes) == 0 {
		return
	}
	e.sum = scratch.Grow(e.sum, len(x))
	smooth := min(1, float64(len(x))/(ringingSmoothS*fs))
	kept := e.notes[:0]
	for _, v := range e.notes {
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
		if v.match > ringingStopped {
			kept = append(kept, v)
		}
	}
	e.notes = kept
}

// dropCandidate forgets the note that may ring on, for the next.
func (e *ringingStrings) dropCandidate() {
	e.candidate.tones, e.triedSoon = e.candidate.tones[:0], false
}

// forget drops all that rings on.
func (e *ringingStrings) forget() {
	e.dropCandidate()
	e.notes = e.notes[:0]
}
