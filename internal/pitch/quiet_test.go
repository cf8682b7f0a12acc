package pitch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/sound"
)

// pink returns n samples of noise whose power falls as 1/f: white noise held for 1, 2, 4, ...
// 32768 samples, summed. Source: the method of R. F. Voss, told in M. Gardner, Scientific
// American 238 (April 1978) 16; from memory.
func pink(n int, levelDB float64, rng *rand.Rand) []float64 {
	x := make([]float64, n)
	var held [16]float64
	var power float64
	for i := range x {
		for k := range held {
			if i%(1<<k) == 0 {
				held[k] = rng.NormFloat64()
			}
			x[i] += held[k]
		}
		power += x[i] * x[i]
	}
	gain := math.Pow(10, levelDB/20) / math.Sqrt(power/float64(n))
	for i := range x {
		x[i] *= gain
	}
	return x
}

// hum adds mains hum whose fundamental has an RMS of levelDB: the harmonics of a pickup beside a
// transformer (invented levels).
func (s scene) hum(mains, levelDB float64, rng *rand.Rand) {
	for j, gain := range []float64{1, 0.3, 0.5, 0.15, 0.25} {
		phase := rng.Float64() * 2 * math.Pi
		a := math.Sqrt2 * math.Pow(10, levelDB/20) * gain
		for i := range s.x {
			s.x[i] += a * math.Cos(2*math.Pi*mains*float64(j+1)*float64(i)/s.fs+phase)
		}
	}
}

// silent fails if any pitch was heard.
func silent(t *testing.T, what string, h hearing) {
	t.Helper()
	for _, r := range h.sounding() {
		t.Errorf("%s, seed %d: reading of %.2f Hz ± %.2f cents at %.2f s", what, testSeed, r.F1Hz, r.SigmaCents, float64(r.At)/testRate)
		break
	}
	if len(h.notes) > 0 {
		t.Errorf("%s, seed %d: notes %v", what, testSeed, brief(h.notes))
	}
}

func TestNoNoteInNoise(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		cfg := Config{Live: live}
		silent(t, "silence", listen(t, cfg, make([]float64, 5*testRate), 512))
		for seed := range uint64(3) {
			white := newScene(5, testRate, -40, newRand(100+seed))
			silent(t, fmt.Sprint("white noise ", seed), listen(t, cfg, white.x, 512))
			silent(t, fmt.Sprint("pink noise ", seed), listen(t, cfg, pink(5*testRate, -40, newRand(200+seed)), 512))
		}
	})
}

func TestNoNoteInClicks(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, noise := range []float64{-200, -80, -60} {
			s := newScene(5, testRate, noise, newRand(1))
			for i := range 9 {
				s.x[24000*i+12345] += 0.5
			}
			silent(t, fmt.Sprintf("clicks over %g dB", noise), listen(t, Config{Live: live}, s.x, 512))
		}
	})
}

func TestNoNoteInHum(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, mains := range []float64{50, 60} {
			for _, noise := range []float64{-200, -80, -60} {
				for seed := range uint64(3) {
					s := newScene(5, testRate, noise, newRand(1))
					s.hum(mains, -30, newRand(300+seed))
					silent(t, fmt.Sprintf("%g Hz hum over %g dB, phases %d", mains, noise, seed), listen(t, Config{Live: live}, s.x, 512))
				}
			}
		}
	})
}

func TestStringOverHum(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{41.203, 82.407, 110, 196, 329.628} {
			s := newScene(5, testRate, -80, newRand(1))
			s.hum(50, -45, newRand(300))
			s.pluck(sound.String(hz), 2, -20, newRand(2))
			n := onlyNote(t, listen(t, Config{Live: live}, s.x, 512))
			within(t, fmt.Sprintf("%g Hz over hum", hz), n.Reading, hz, 1)
		}
	})
}
