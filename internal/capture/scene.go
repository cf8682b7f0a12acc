package capture

import (
	"math"
	"math/rand/v2"

	"tunerd/internal/sound"
)

// The demo scene is invented: a builder brings a long five-string dulcimer into 22 equal divisions
// of the octave, string by string, and ends on a chord of all five.
const (
	// DemoInstrument is the name of the built-in instrument that the demo plays.
	DemoInstrument = "dulcimer-22edo"

	demoSampleRate  = 48000    // Hz, unless another is asked for
	demoReferenceHz = 146.8324 // D3, step 0
	demoSeed        = 22
	demoLengthS     = 79.0
	demoNoiseDB     = -70.0 // RMS of the bench noise re full scale
	demoChunk       = 512   // samples made at a time
)

// A DemoPluck is one pluck of the demo scene. Cents are against the string's target.
type DemoPluck struct {
	String      int     // 1 is the lowest
	Step        int     // of 22 in the octave, above D3 = 146.8324 Hz
	AtS, EndS   float64 // pluck, and the hand that stops it, in s from the start of the scene
	StartCents  float64 // until the peg is turned
	FinalCents  float64 // after that; the same if the peg is left alone
	PegS, PegTo float64 // s from the start of the scene between which the peg is turned; 0: not
	Chord       bool    // one of the closing chord
}

// TargetHz is partial 1 of the string in tune.
func (p DemoPluck) TargetHz() float64 {
	return demoReferenceHz * math.Exp2(float64(p.Step)/22)
}

// demoString is one string of the instrument and how its tuning goes: it starts at cents[0], the
// peg brings it to cents[1] and, after another pluck, to cents[2].
type demoString struct {
	step  int
	b     float64 // the two lowest are wound
	t60   float64 // s
	pluck float64
	cents [3]float64
}

var demoStrings = [...]demoString{
	{step: 0, b: 1.1e-4, t60: 14, pluck: 0.17, cents: [3]float64{-23, -2.4, -0.1}},
	{step: 13, b: 0.9e-4, t60: 13, pluck: 0.14, cents: [3]float64{-38, -3.5, 0.2}},
	{step: 22, b: 0.5e-4, t60: 12, pluck: 0.19, cents: [3]float64{17, -4, 0}},
	{step: 29, b: 0.5e-4, t60: 11, pluck: 0.15, cents: [3]float64{-8, -1.2, -0.25}},
	{step: 35, b: 0.6e-4, t60: 10, pluck: 0.12, cents: [3]float64{-31, -1.6, 0.15}},
}

// Times of the scene in s: the first pluck, what one string takes, and within that the second and
// third pluck; the closing chord.
const (
	demoFirstS  = 1.5
	demoStringS = 13.4
	demoSecondS = 5.4
	demoThirdS  = 9.8
	demoChordS  = 69.2
	demoStrumS  = 0.07 // from string to string of the chord
)

// DemoScript lists what the demo scene plays, in order of time.
func DemoScript() []DemoPluck {
	var script []DemoPluck
	for i, s := range demoStrings {
		start := demoFirstS + demoStringS*float64(i)
		pluck := func(at, end float64) *DemoPluck {
			script = append(script, DemoPluck{String: i + 1, Step: s.step, AtS: start + at, EndS: start + end})
			return &script[len(script)-1]
		}
		p := pluck(0, demoSecondS-0.1)
		p.StartCents, p.FinalCents, p.PegS, p.PegTo = s.cents[0], s.cents[1], start+2, start+4.4
		p = pluck(demoSecondS, demoThirdS-0.1)
		p.StartCents, p.FinalCents, p.PegS, p.PegTo = s.cents[1], s.cents[2], start+demoSecondS+1.6, start+demoSecondS+3
		p = pluck(demoThirdS, demoStringS-0.3)
		p.StartCents, p.FinalCents = s.cents[2], s.cents[2]
	}
	for i, s := range demoStrings {
		script = append(script, DemoPluck{
			String: i + 1, Step: s.step, Chord: true,
			AtS: demoChordS + demoStrumS*float64(i), EndS: demoLengthS - 1,
			StartCents: s.cents[2], FinalCents: s.cents[2],
		})
	}
	return script
}

// demoClicks are the times in s at which the pick taps the wood.
var demoClicks = [...]float64{0.8, 42.3}

// A demoScene makes the samples of the scene, one pass after the other, all alike.
type demoScene struct {
	sampleRate float64
	cues       []demoCue // in order of time
	next       int       // the first cue that has not begun
	playing    []demoVoice
	noise      *rand.Rand
	at, length int64 // samples since the start of this pass
}

// A demoCue starts a sound.
type demoCue struct {
	sample  int64
	endS    float64 // s after its start at which nothing is left of it
	levelDB float64 // RMS at the start re full scale
	spec    sound.StringSpec
}

type demoVoice struct {
	*sound.Voice
	cue demoCue
}

func newDemoScene(sampleRate int) *demoScene {
	s := &demoScene{sampleRate: float64(sampleRate), length: int64(demoLengthS * float64(sampleRate))}
	for _, at := range demoClicks {
		s.addCue(at, 0.5, -38, pickClick())
	}
	for _, p := range DemoScript() {
		level := -20.0
		if p.Chord {
			level = -26
		}
		s.addCue(p.AtS, p.EndS-p.AtS+0.5, level, p.spec())
	}
	s.restart()
	return s
}

// addCue keeps the cues in order of time.
func (s *demoScene) addCue(atS, endS, levelDB float64, spec sound.StringSpec) {
	cue := demoCue{sample: int64(atS * s.sampleRate), endS: endS, levelDB: levelDB, spec: spec}
	i := len(s.cues)
	for i > 0 && s.cues[i-1].sample > cue.sample {
		i--
	}
	s.cues = append(s.cues[:i], append([]demoCue{cue}, s.cues[i:]...)...)
}

// spec is the sound of the pluck.
func (p DemoPluck) spec() sound.StringSpec {
	s := demoStrings[p.String-1]
	spec := sound.String(p.TargetHz() * math.Exp2(p.StartCents/1200))
	spec.B, spec.T60, spec.Pluck, spec.Partials = s.b, s.t60, s.pluck, 16
	spec.GlideCents, spec.GlideTau = 1, 0.12
	spec.Attack = sound.Attack{LevelDB: -20, Decay: 0.006}
	spec.DampS = p.EndS - p.AtS
	if p.PegTo > 0 {
		spec.Ramp = sound.Ramp{Start: p.PegS - p.AtS, End: p.PegTo - p.AtS, Cents: p.FinalCents - p.StartCents}
	}
	return spec
}

// pickClick is a short knock of wood with the noise of the pick.
func pickClick() sound.StringSpec {
	return sound.StringSpec{
		F1Hz: 940, Partials: 1, Pluck: 0.5, T60: 0.05,
		Attack: sound.Attack{LevelDB: 3, Decay: 0.002},
	}
}

func (s *demoScene) restart() {
	s.at, s.next, s.playing = 0, 0, s.playing[:0]
	s.noise = rand.New(rand.NewPCG(demoSeed, 0))
}

// fill replaces dst, of at most demoChunk samples, by the next ones of this pass and returns how
// many there were; 0 at its end.
func (s *demoScene) fill(dst []float64) int {
	n := int(min(int64(len(dst)), s.length-s.at))
	dst = dst[:n]
	sigma := math.Pow(10, demoNoiseDB/20)
	for i := range dst {
		dst[i] = sigma * s.noise.NormFloat64()
	}
	s.start(s.at + int64(n))
	left := s.playing[:0]
	for _, v := range s.playing {
		t := float64(s.at-v.cue.sample) / s.sampleRate
		v.Add(dst, t)
		if t < v.cue.endS {
			left = append(left, v)
		}
	}
	s.playing = left
	s.at += int64(n)
	return n
}

// start begins the cues before sample end.
func (s *demoScene) start(end int64) {
	for ; s.next < len(s.cues) && s.cues[s.next].sample < end; s.next++ {
		cue := s.cues[s.next]
		v := cue.spec.Voice(s.sampleRate, rand.New(rand.NewPCG(demoSeed, uint64(s.next+1))))
		v.Gain = math.Pow(10, cue.levelDB/20) / v.RMS()
		s.playing = append(s.playing, demoVoice{Voice: v, cue: cue})
	}
}
