package pitch

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tunerd/internal/sound"
)

const (
	testSeed = 3
	testRate = 48000.0 // Hz
)

func newRand(stream uint64) *rand.Rand { return rand.New(rand.NewPCG(testSeed, stream)) }

// A scene is a stretch of sound made up for a test.
type scene struct {
	x  []float64
	fs float64
}

// newScene returns seconds of white noise with an RMS of noiseDB dB re full scale.
func newScene(seconds, fs, noiseDB float64, rng *rand.Rand) scene {
	s := scene{make([]float64, int(seconds*fs)), fs}
	sigma := math.Pow(10, noiseDB/20)
	for i := range s.x {
		s.x[i] = sigma * rng.NormFloat64()
	}
	return s
}

// pluck adds a string plucked at atS seconds, with an RMS of levelDB dB re full scale at first.
func (s scene) pluck(spec sound.StringSpec, atS, levelDB float64, rng *rand.Rand) {
	v := spec.Voice(s.fs, rng)
	v.Gain = math.Pow(10, levelDB/20) / v.RMS()
	v.Add(s.x, -atS)
}

// A hearing is everything that a tracker said.
type hearing struct {
	readings []Reading
	notes    []Note
}

// listen gives x to a tracker, block samples at a time, and keeps what it says.
func listen(t testing.TB, cfg Config, x []float64, block int) hearing {
	t.Helper()
	var h hearing
	if cfg.SampleRate == 0 {
		cfg.SampleRate = testRate
	}
	cfg.OnNote = func(n *Note) {
		kept := *n
		kept.Partials = slices.Clone(n.Partials)
		h.notes = append(h.notes, kept)
	}
	tracker, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(x); at += block {
		tracker.Push(x[at:min(at+block, len(x))], int64(at), h.keep)
	}
	tracker.Flush()
	return h
}

func (h *hearing) keep(r *Reading) {
	kept := *r
	kept.Partials = slices.Clone(r.Partials)
	h.readings = append(h.readings, kept)
}

// sounding returns the readings with a pitch.
func (h hearing) sounding() []Reading {
	var out []Reading
	for _, r := range h.readings {
		if r.State == Sounding {
			out = append(out, r)
		}
	}
	return out
}
