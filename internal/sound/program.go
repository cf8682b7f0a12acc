package sound

import (
	"math"
	"math/rand/v2"
)

// A Program is chords to be heard one after the other, and what is done to them.
type Program struct {
	Chords []Chord
	Drive  *Drive  // nil: none
	PeakDB float64 // of the whole, dB re full scale
}

// pauseS is the silence between two chords, in s.
const pauseS = 0.4

// Render returns the whole, and the second at which each chord starts. It draws from rng.
func (p Program) Render(sampleRate float64, rng *rand.Rand) (samples []float64, starts []float64, err error) {
	for i, c := range p.Chords {
		if i > 0 {
			samples = append(samples, make([]float64, int(pauseS*sampleRate))...)
		}
		starts = append(starts, float64(len(samples))/sampleRate)
		x, err := c.Render(sampleRate, rng)
		if err != nil {
			return nil, nil, err
		}
		if p.Drive != nil {
			if err := p.Drive.Apply(x, sampleRate); err != nil {
				return nil, nil, err
			}
			Fade(x, sampleRate)
		}
		samples = append(samples, x...)
	}
	Scale(samples, math.Pow(10, p.PeakDB/20))
	return samples, starts, nil
}
