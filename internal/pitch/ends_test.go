package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
)

// endsWithin is how near (s) to where it sinks into the background a note is said to end.
const endsWithin = 0.3

// backgrounds are what a note may sink into.
var backgrounds = []struct {
	name string
	add  func(s scene, levelDB float64, stream uint64)
}{
	{"white noise", func(s scene, levelDB float64, stream uint64) {
		sigma, rng := math.Pow(10, levelDB/20), newRand(stream)
		for i := range s.x {
			s.x[i] += sigma * rng.NormFloat64()
		}
	}},
	{"pink noise", func(s scene, levelDB float64, stream uint64) {
		for i, v := range pink(len(s.x), levelDB, newRand(stream)) {
			s.x[i] += v
		}
	}},
	{"hum", func(s scene, levelDB float64, stream uint64) {
		var power float64 // of the harmonics that hum adds, over that of the first
		for _, gain := range []float64{1, 0.3, 0.5, 0.15, 0.25} {
			power += gain * gain
		}
		s.hum(50, levelDB-10*math.Log10(power), newRand(stream))
	}},
}

// A note whose partials all fall by 60 dB in t60 is as loud as the background t60·(level − background)/60 dB
// after the pluck. That is where it is said to end, whether there was time to learn the background or not.
func TestNoteEndsWhereItSinksIntoTheBackground(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, before := range []float64{0, 0.2, 1.5} { // s before the pluck
			for i, hz := range []float64{41.203, 110, 329.628, 880} {
				for j, level := range []float64{-90, -60, -50, -40} {
					for k, b := range backgrounds {
						spec := sound.String(hz)
						spec.DecaySlope = 0
						spec.T60 = []float64{4, 2.5, 1.6, 1}[(i+j)%4]
						const above = 30.0 // dB
						sinks := before + spec.T60*above/60
						s := newScene(sinks+2, testRate, -200, newRand(1))
						b.add(s, level, uint64(100*i+10*j+k))
						s.pluck(spec, before, level+above, newRand(uint64(i)))
						what := fmt.Sprintf("%g Hz after %g s of %s at %g dB", hz, before, b.name, level)
						ends(t, what, listen(t, Config{Live: live}, s.x, 512), live, sinks)
					}
				}
			}
		}
	})
}

// A hand that stops the string (e-fold in 25 ms, as sound.StringSpec has it) takes it from 30 dB above the noise
// to its level in 30/8.7·25 ms = 86 ms.
func TestStoppedNoteEnds(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, before := range []float64{0, 0.3, 1.5} {
			for i, hz := range []float64{55, 146.832, 659.255} {
				for j, level := range []float64{-60, -40} {
					spec := sound.String(hz)
					spec.T60, spec.DecaySlope, spec.DampS = 20, 0, 0.8
					s := newScene(before+3, testRate, level, newRand(uint64(10*i+j)))
					s.pluck(spec, before, level+30+60*0.8/20, newRand(uint64(i)))
					what := fmt.Sprintf("%g Hz stopped after %g s of noise at %g dB", hz, before, level)
					ends(t, what, listen(t, Config{Live: live}, s.x, 512), live, before+0.8+0.086)
				}
			}
		}
	})
}

// ends fails unless the one note that was heard ended at the instant at (s).
func ends(t *testing.T, what string, h hearing, live bool, at float64) {
	t.Helper()
	if len(h.notes) != 1 {
		t.Errorf("%s, seed %d: %d notes, want 1: %v", what, testSeed, len(h.notes), brief(h.notes))
		return
	}
	if off := float64(h.notes[0].End)/testRate - at; math.Abs(off) > endsWithin {
		t.Errorf("%s, seed %d: ends %+.2f s from where it sinks, want within %g", what, testSeed, off, endsWithin)
	}
	if sounding := h.sounding(); live {
		if off := float64(sounding[len(sounding)-1].At)/testRate - at; off > endsWithin {
			t.Errorf("%s, seed %d: told %+.2f s from where it sinks, want within %g", what, testSeed, off, endsWithin)
		}
	}
}
