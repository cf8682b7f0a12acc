package pitch

import (
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// TestHighStringsInFewMilliseconds reads strings of the piano's treble in windows of 8 to 12 ms. The prior of their
// stiffness leaves all partials but the lowest anywhere within several bins.
func TestHighStringsInFewMilliseconds(t *testing.T) {
	e, err := NewWindowEstimator(testRate)
	if err != nil {
		t.Fatal(err)
	}
	rng := newRand(6)
	for i := range 60 {
		s := sound.String(1200 * math.Exp2(1.75*float64(i)/60)) // to 3960 Hz
		s.B *= math.Exp2(2 * rng.Float64())                     // up to four times as stiff
		s.SNRdB = 15 + 20*rng.Float64()
		x := make([]float64, int((0.008+0.004*rng.Float64())*testRate))
		truth := s.Render(x, testRate, rng)
		r, ok := e.Estimate(x, 500, 4200)
		if !ok || math.Abs(stiffstring.Cents(r.F1Hz, truth.F1Hz)) > 10 {
			t.Errorf("%.1f Hz, B %.2g, %.1f dB, %.1f ms: %.1f Hz, read %v", s.F1Hz, s.B, s.SNRdB, 1000*float64(len(x))/testRate, r.F1Hz, ok)
		}
	}
}
