package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/stiffstring"
)

// Two partials, the lowest and one far above it, with nothing between, are a note: whole and live.
func TestPartialsBesideAGap(t *testing.T) {
	for _, tc := range []struct {
		hz float64
		k  int
	}{{784, 4}, {1047, 4}, {1319, 4}, {440, 5}, {660, 5}, {220, 8}, {330, 8}} {
		t.Run(fmt.Sprintf("%g Hz, 1 and %d", tc.hz, tc.k), func(t *testing.T) {
			t.Parallel()
			s := newScene(1.5, testRate, -70, newRand(3))
			for i := int(0.3 * s.fs); i < len(s.x); i++ {
				u := float64(i)/s.fs - 0.3
				s.x[i] += 0.1 * math.Exp(-2*u) * (math.Sin(2*math.Pi*tc.hz*u) + math.Sin(2*math.Pi*tc.hz*float64(tc.k)*u+1))
			}
			h := listen(t, Config{}, s.x, 512)
			if len(h.notes) != 1 || math.Abs(stiffstring.Cents(h.notes[0].F1Hz, tc.hz)) > 1 {
				t.Errorf("%d notes, want one of %g Hz", len(h.notes), tc.hz)
				for _, n := range h.notes {
					t.Log(n.Reading.figures())
				}
			}
			last := listen(t, Config{Live: true}, s.x, 512).sounding()
			if len(last) == 0 || math.Abs(stiffstring.Cents(last[len(last)/2].F1Hz, tc.hz)) > 1 {
				t.Errorf("not read live")
			}
		})
	}
}
