package ensemble

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// TestHighStrings reads strings above the fifth octave as a recording, each alone and strummed with a low chord. Their
// stiffness is that of short plain strings, and not told; they have died away long before the chord has.
func TestHighStrings(t *testing.T) {
	for _, hz := range []float64{831, 988, 1319, 1760} {
		for _, chord := range [][]float64{nil, {110, 146.83, 196}} {
			for seed := range uint64(3) {
				rng := rand.New(rand.NewPCG(seed, 15))
				x, part := make([]float64, 3*48000), make([]float64, 3*48000-4800)
				var told []String
				var offsets []float64
				for i, f := range append(append([]float64(nil), chord...), hz) {
					off := 20 * (2*rng.Float64() - 1)
					s := sound.String(f * math.Exp(off/stiffstring.CentsPerNeper))
					if s.StartS, s.SNRdB = 0, 50; f < hz {
						s.Partials = 4 // so that the high one is alone in its band
					}
					s.Render(part, 48000, rng)
					for j, v := range part {
						x[4800+j] += 0.3 * v
					}
					told = append(told, String{Number: i + 1, Hz: f})
					offsets = append(offsets, off)
				}
				var got []StringReading
				tracker, err := NewTracker(TrackerConfig{
					Config:  Config{SampleRate: 48000, Strings: told},
					OnChord: func(c *Chord) { got = append(got, c.Strings...) },
				})
				if err != nil {
					t.Fatal(err)
				}
				tracker.Push(x, 0, nil)
				tracker.Flush()
				if len(got) != len(told) {
					t.Errorf("%g Hz beside %v, seed %d: %d readings, want one chord", hz, chord, seed, len(got))
					continue
				}
				for i, s := range got {
					off := s.Cents - offsets[i]
					switch {
					case !s.Sounding:
						t.Errorf("%g Hz beside %v, seed %d: string at %g Hz, B %.2g: hidden %v", hz, chord, seed, told[i].Hz, sound.DefaultB(told[i].Hz), s.Hidden)
					case math.Abs(off) > math.Max(0.5, 3*s.SigmaCents):
						t.Errorf("%g Hz beside %v, seed %d: string at %g Hz is %+.2f ± %.2f cents off", hz, chord, seed, told[i].Hz, off, s.SigmaCents)
					}
				}
			}
		}
	}
}
