package pitch_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/pitch"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// pianoB is the inharmonicity of a piano string: 3.5e-4 at middle C and above it doubling every eight
// semitones, below it about the same (R. W. Young, J. Acoust. Soc. Am. 24 (1952) 267, six pianos;
// the bass from memory of the same figure).
func pianoB(key int) float64 {
	const middleC = 40
	return 3.5e-4 * math.Exp2(float64(max(0, key-middleC))/8)
}

// Every key of a piano, A0 to C8, in equal temperament from A4 = 440 Hz (ISO 16:1975).
func TestPianoKeys(t *testing.T) {
	for _, live := range []bool{true, false} {
		streams := 2 // the phases of the partials decide whether a stiff string has a period
		if live {
			streams = 1 // time
		}
		for i := range streams * 88 {
			key := i%88 + 1
			hz := 440 * math.Exp2(float64(key-49)/12)
			stream := uint64(key + i/88*300)
			s := scene{spec: sound.String(hz), pluckAt: 15000, seconds: 1.3, noiseDB: -70, stream: stream}
			s.spec.B = pianoB(key)
			h := listen(t, pitch.Config{Live: live}, s.render(), 0)
			if len(h.notes) != 1 {
				t.Errorf("live %v, key %d, %.2f Hz, seed %d/%d: %d notes, want 1", live, key, hz, seed, stream, len(h.notes))
				continue
			}
			n := h.notes[0]
			if off, within := stiffstring.Cents(n.F1Hz, hz), 4*n.SigmaCents+0.05; !(math.Abs(off) <= within) {
				t.Errorf("live %v, key %d, %.2f Hz, seed %d/%d: %+.3f ± %.3f cents", live, key, hz, seed, stream, off, n.SigmaCents)
			}
			if n.SigmaCents > 1 {
				t.Errorf("live %v, key %d, %.2f Hz, seed %d/%d: σ %.3f cents of a clean string at 50 dB", live, key, hz, seed, stream, n.SigmaCents)
			}
		}
	}
}

// bowed is a tone of exact harmonics that swells and stays: a saw-tooth as of a bowed string
// (Helmholtz), its partials weighed by formant, with vibrato of cents·sin(2π·6·t).
func bowed(hz, cents, seconds float64, formant func(hz float64) float64, stream uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, stream))
	x := make([]float64, int(seconds*rate))
	harmonics := int(0.42 * rate / hz)
	amps, phases := make([]float64, harmonics), make([]float64, harmonics)
	for k := range amps {
		amps[k] = 0.1 / float64(k+1) * formant(float64(k+1)*hz)
		phases[k] = 2 * math.Pi * rng.Float64()
	}
	const vibratoHz, quiet, swell = 6, 0.3, 0.08 // Hz, s, s
	turns := 0.0
	for i := range x {
		x[i] = 1e-5 * rng.NormFloat64()
		s := float64(i)/rate - quiet
		if s < 0 {
			continue
		}
		turns += hz * math.Exp2(cents*math.Sin(2*math.Pi*vibratoHz*s)/1200) / rate
		level := 1 - math.Exp(-s/swell)
		for k, a := range amps {
			x[i] += level * a * math.Cos(2*math.Pi*float64(k+1)*turns+phases[k])
		}
	}
	return x
}

func plain(float64) float64 { return 1 }

// vowel is about the spectrum of a sung "ah": formants at 700, 1100 and 2600 Hz (from memory of
// G. E. Peterson and H. L. Barney, J. Acoust. Soc. Am. 24 (1952) 175, men's "hod"), 12 dB an octave
// below the source.
func vowel(hz float64) float64 {
	gain := 0.02
	for _, f := range [...]float64{700, 1100, 2600} {
		r := (hz - f) / 60
		gain += 1 / (1 + r*r)
	}
	return gain * math.Sqrt(100/hz)
}

// A violin's open strings and high positions, bowed without vibrato.
func TestBowedStrings(t *testing.T) {
	for i, hz := range []float64{65.41, 130.81, 196, 293.66, 440, 659.26, 1318.5, 2637} {
		n := listen(t, pitch.Config{Live: true}, bowed(hz, 0, 1.3, plain, uint64(i)), 0).note(t)
		if off, within := stiffstring.Cents(n.F1Hz, hz), 4*n.SigmaCents+0.02; !(math.Abs(off) <= within) || n.SigmaCents > 0.5 {
			t.Errorf("%g Hz, seed %d: %+.3f ± %.3f cents", hz, seed, off, n.SigmaCents)
		}
	}
}

// A voice with vibrato of 50 cents (a half of the usual semitone to either side) is one note, though it has
// no one pitch: readings must stay within it, and that of the whole note about its middle.
func TestVoiceWithVibrato(t *testing.T) {
	const vibrato = 50.0
	for i, hz := range []float64{110, 220, 329.63, 440, 659.26, 880} {
		for _, live := range []bool{true, false} {
			h := listen(t, pitch.Config{Live: live}, bowed(hz, vibrato, 2, vowel, uint64(i)), 0)
			sounding := 0
			for _, r := range h.readings {
				if r.State != pitch.Sounding {
					continue
				}
				sounding++
				if off := stiffstring.Cents(r.F1Hz, hz); math.Abs(off) > vibrato+5+2*r.SigmaCents {
					t.Errorf("%g Hz, seed %d: %+.1f ± %.2f cents at %.3f s, vibrato of ±%g", hz, seed, off, r.SigmaCents, float64(r.At)/rate, vibrato)
					break
				}
			}
			if live && sounding < 7*len(h.readings)/10 { // it sounds for 0.85 of the time
				t.Errorf("%g Hz, seed %d: %d of %d readings sound", hz, seed, sounding, len(h.readings))
			}
			if len(h.notes) != 1 {
				t.Errorf("%g Hz, live %v, seed %d: %d notes, want 1", hz, live, seed, len(h.notes))
				continue
			}
			n := h.notes[0]
			within := 3*n.SigmaCents + 2
			if live { // the pitch of its end
				within = vibrato + 5
			}
			if off := stiffstring.Cents(n.F1Hz, hz); !(math.Abs(off) <= within) {
				t.Errorf("%g Hz, live %v, seed %d: a note of %+.2f ± %.3f cents", hz, live, seed, off, n.SigmaCents)
			}
		}
	}
}
