package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/stiffstring"
)

// A steady note on a multiple of the mains frequency that has its own partials is a note, whether it begins or is
// there when listening does: B of an organ or a bowed string, a third or a fifth above A.
func TestSteadyNoteOnAMultipleOfTheMains(t *testing.T) {
	for _, hz := range []float64{150, 180, 200, 240, 250, 300, 360} {
		for _, from := range []float64{0, 0.5} {
			t.Run(fmt.Sprintf("%g Hz from %g s", hz, from), func(t *testing.T) {
				t.Parallel()
				s := newScene(2, testRate, -80, newRand(5))
				for i := int(from * s.fs); i < len(s.x); i++ {
					u := float64(i)/s.fs - from
					for k := 1.0; k < 8; k++ {
						s.x[i] += 0.1 / k * min(1, u/0.05) * math.Sin(2*math.Pi*hz*k*u)
					}
				}
				if h := listen(t, Config{}, s.x, 512); len(h.notes) != 1 || math.Abs(stiffstring.Cents(h.notes[0].F1Hz, hz)) > 0.1 {
					t.Errorf("%d notes, want one", len(h.notes))
				}
				heard := 0
				for _, r := range listen(t, Config{Live: true}, s.x, 512).sounding() {
					if math.Abs(stiffstring.Cents(r.F1Hz, hz)) < 5 {
						heard++
					} else {
						t.Errorf("read at %s", r.figures())
					}
				}
				if seconds := 2 - from - 0.15; float64(heard) < seconds*90 {
					t.Errorf("%d readings in %.2f s", heard, seconds)
				}
			})
		}
	}
}
