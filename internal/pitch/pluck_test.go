package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// honest plucks spec after half a second of noise that lies snr dB below the string's RMS from 50 to 250 ms after
// the pluck, and fails unless every live reading holds the settled pitch within 5 σ or half a cent, none jumps by
// more than 10 σ of the one before and its own, and none is unsure by 20 cents once one was sure to a cent.
// expected tells the tracker which string is plucked. These limits are our own: what a player may rely on.
func honest(t *testing.T, spec sound.StringSpec, snr float64, expected bool, stream uint64) {
	t.Helper()
	const at, seconds = 0.5003, 1.5
	rng := newRand(stream)
	s := newScene(at+seconds, testRate, -200, rng)
	spec.Voice(testRate, rng).Add(s.x, -at)
	var power float64
	steady := s.x[len(s.x)-int(1.45*testRate) : len(s.x)-int(1.25*testRate)]
	for _, v := range steady {
		power += v * v / float64(len(steady))
	}
	sigma := math.Sqrt(power) * math.Pow(10, -snr/20)
	for i := range s.x {
		s.x[i] = 0.1 * (s.x[i] + sigma*rng.NormFloat64()) // far from full scale
	}
	tracker, err := NewTracker(Config{SampleRate: testRate, Live: true})
	if err != nil {
		t.Fatal(err)
	}
	if expected {
		tracker.Expect(spec.F1Hz/math.Sqrt2, []float64{spec.F1Hz})
	}
	var h hearing
	tracker.Push(s.x, 0, h.keep)
	what := fmt.Sprintf("%.1f Hz at %g dB, glide %g cents, attack %v, seed %d.%d", spec.F1Hz, snr, spec.GlideCents, spec.Attack.Decay > 0, testSeed, stream)
	readings := h.sounding()
	if len(readings) == 0 {
		t.Errorf("%s: never read", what)
	}
	sure := false
	for i, r := range readings {
		off, age := stiffstring.Cents(r.F1Hz, spec.F1Hz), float64(r.At)/testRate-at
		switch {
		case math.Abs(off) > max(5*r.SigmaCents, 0.5):
			t.Errorf("%s: %+.2f ± %.3f cents at %.3f s", what, off, r.SigmaCents, age)
			return
		case sure && r.SigmaCents >= 20:
			t.Errorf("%s: ± %.1f cents at %.3f s, after it was known to one", what, r.SigmaCents, age)
			return
		}
		if i > 0 {
			last := readings[i-1]
			if by := math.Abs(stiffstring.Cents(r.F1Hz, last.F1Hz)); by > max(0.5, 10*last.SigmaCents) {
				t.Errorf("%s: jumps by %.2f cents at %.3f s, from ± %.3f to ± %.3f", what, by, age, last.SigmaCents, r.SigmaCents)
				return
			}
		}
		sure = sure || r.SigmaCents < 1
	}
}

// A string whose lowest partials are weak has most of its sound in partials that are no longer followed later.
func TestFewerPartialsAreNoDisturbance(t *testing.T) {
	for i, hz := range []float64{43, 48, 62, 77, 109, 148, 217} {
		spec := sound.String(hz)
		spec.HighPassHz = 3 * hz
		honest(t, spec, 36, i%2 == 0, uint64(40+i))
	}
}

// The first window of a high note holds too few numbers to see a glide, and so does the first without the noise of
// the attack.
func TestFirstReadingOfAHighNoteAdmitsAGlide(t *testing.T) {
	for i, hz := range []float64{580, 630, 680, 750, 800, 940, 1080, 1190} {
		spec := sound.String(hz)
		spec.GlideCents, spec.GlideTau = 10, 0.25
		honest(t, spec, 40, true, uint64(60+i))
		spec.Attack = sound.Attack{LevelDB: 0, Decay: 0.005}
		honest(t, spec, 40, false, uint64(80+i))
	}
}
