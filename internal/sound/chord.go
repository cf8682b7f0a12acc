package sound

import (
	"fmt"
	"math"
	"math/rand/v2"

	"tunerd/internal/stiffstring"
)

// A Timbre is a kind of tone.
type Timbre string

const (
	SineTimbre   Timbre = "sine"   // one partial, steady
	StringTimbre Timbre = "string" // plucked, stiff, decaying: [String]
	OrganTimbre  Timbre = "organ"  // harmonic partials, steady
)

// Timbres are all of them.
var Timbres = []Timbre{SineTimbre, StringTimbre, OrganTimbre}

// organLevels are amplitudes of the partials of an organ-like tone, between a flute's and a
// principal's (our own figures, no source).
var organLevels = []float64{1, 0.5, 0.35, 0.25, 0.16, 0.12, 0.08, 0.06}

// Spec returns a tone of the timbre at hz. b is the inharmonicity of a string; the others have none.
func (t Timbre) Spec(hz, b float64) (StringSpec, error) {
	steady := StringSpec{F1Hz: hz, T60: math.Inf(1), SNRdB: math.Inf(1)}
	switch t {
	case SineTimbre:
		steady.Partials, steady.Levels = 1, []float64{1}
		return steady, nil
	case OrganTimbre:
		steady.Partials, steady.Levels = len(organLevels), organLevels
		return steady, nil
	case StringTimbre:
		s := String(hz)
		s.B = b
		return s, nil
	}
	return StringSpec{}, fmt.Errorf("timbre %q is none of %q", string(t), Timbres)
}

// A ChordNote is one note of a chord. If ToHz is not 0 its pitch moves there.
type ChordNote struct {
	Hz, ToHz float64
	B        float64 // inharmonicity, of strings
}

// A Chord is notes that sound together.
type Chord struct {
	Notes   []ChordNote
	Timbre  Timbre
	Seconds float64
	// MoveStart and MoveEnd, in s, are when the notes that move begin and end; the pitch moves
	// linearly in cents.
	MoveStart, MoveEnd float64
}

// Fades of a chord in s: long enough not to click, and at the start short enough for a pluck.
const (
	fadeIn  = 0.008
	fadeOut = 0.080
)

// Render returns the chord, faded in and out, with a peak of 1; silence if it has no notes. The
// phases of the partials are drawn from rng.
func (c Chord) Render(sampleRate float64, rng *rand.Rand) ([]float64, error) {
	dst := make([]float64, int(math.Round(c.Seconds*sampleRate)))
	for _, n := range c.Notes {
		spec, err := c.Timbre.Spec(n.Hz, n.B)
		if err != nil {
			return nil, err
		}
		if n.ToHz != 0 && n.ToHz != n.Hz {
			spec.Ramp = Ramp{Start: c.MoveStart, End: c.MoveEnd, Cents: stiffstring.Cents(n.ToHz, n.Hz)}
		}
		spec.Voice(sampleRate, rng).Add(dst, 0)
	}
	Fade(dst, sampleRate)
	normalise(dst, 1)
	return dst, nil
}

// Fade shapes both ends of x with half a cosine so that it neither starts nor stops with a click:
// 8 ms at the start, 80 ms at the end, less if x is shorter than both.
func Fade(x []float64, sampleRate float64) {
	in := min(int(fadeIn*sampleRate), len(x)/2)
	out := min(int(fadeOut*sampleRate), len(x)/2)
	for i := range in {
		x[i] *= riseAt(float64(i) / float64(in))
	}
	for i := range out {
		x[len(x)-1-i] *= riseAt(float64(i) / float64(out))
	}
}

// riseAt goes from 0 at 0 to 1 at 1 with no slope at either end.
func riseAt(u float64) float64 { return (1 - math.Cos(math.Pi*u)) / 2 }

// Scale brings the peak of x to peak; silence stays silence.
func Scale(x []float64, peak float64) { normalise(x, peak) }
