package pitch

import (
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// TestExpectedIsNotTheOctaveBelow plucks strings an octave and a twelfth above the only pitch that is expected:
// every second or third of its partials sounds, and that explains the sound as well.
func TestExpectedIsNotTheOctaveBelow(t *testing.T) {
	for _, times := range []float64{2, 3} {
		s := newScene(0.6, testRate, -70, newRand(8))
		spec := sound.String(82.407 * times)
		s.pluck(spec, 0.2, -20, newRand(9))
		tracker, err := NewTracker(Config{SampleRate: testRate, Live: true})
		if err != nil {
			t.Fatal(err)
		}
		tracker.Expect(60, []float64{82.407})
		var h hearing
		for at := 0; at+256 <= len(s.x); at += 256 {
			tracker.Push(s.x[at:at+256], int64(at), h.keep)
		}
		heard := h.sounding()
		if len(heard) == 0 {
			t.Errorf("%g times the expected pitch: nothing is heard", times)
		}
		for _, r := range heard {
			if math.Abs(stiffstring.Cents(r.F1Hz, spec.F1Hz)) > 50 {
				t.Errorf("%g times the expected pitch: %.2f Hz at %.3f s, want %.2f", times, r.F1Hz, float64(r.At)/testRate, spec.F1Hz)
				break
			}
		}
	}
}
