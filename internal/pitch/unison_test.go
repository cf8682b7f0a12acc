package pitch

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/stiffstring"
)

// voices adds n voices near hz to s, each with its own pitch (cents, standard deviation spread), its own slow waver and
// 12 partials under a formant, for all of s.
func (s scene) voices(n int, hz, spread float64, rng *rand.Rand) {
	for range n {
		f := hz * math.Exp(spread*rng.NormFloat64()/stiffstring.CentsPerNeper)
		rateHz, depth := 4.5+2*rng.Float64(), 20+20*rng.Float64() // of the waver; cents
		start := 2 * math.Pi * rng.Float64()
		var phases [12]float64
		for k := range phases {
			phases[k] = 2 * math.Pi * rng.Float64()
		}
		turn := 0.0
		for i := range s.x {
			t := float64(i) / testRate
			waver := depth * math.Sin(2*math.Pi*rateHz*t+start) / stiffstring.CentsPerNeper
			turn += 2 * math.Pi * f * (1 + waver) / testRate
			swell := 1 - math.Exp(-t/0.05)
			for k := range phases {
				formant := math.Exp(-math.Abs(float64(k+1)*f-700) / 500)
				s.x[i] += 0.03 * swell * formant * math.Sin(float64(k+1)*turn+phases[k])
			}
		}
	}
}

// Choirs are read live, near the pitch that their voices share, most of the time, and never at another.
func TestChoirIsRead(t *testing.T) {
	right, late := 0, 0
	for seed := range uint64(6) {
		hz := []float64{131, 165, 220, 262, 330, 440}[seed]
		s := newScene(2.5, testRate, -80, newRand(seed))
		s.voices(8, hz, 15, newRand(50+seed))
		h := listen(t, Config{Live: true}, s.x, 512)
		for _, r := range h.sounding() {
			if off := math.Abs(stiffstring.Cents(r.F1Hz, hz)); off > 50 {
				t.Errorf("%g Hz, seed %d: read as %.2f Hz at %.2f s", hz, seed, r.F1Hz, float64(r.At)/testRate)
				break
			}
			if r.At > 1.2*testRate {
				right++
			}
		}
		for _, r := range h.readings {
			if r.At > 1.2*testRate {
				late++
			}
		}
	}
	if right < late*9/10 {
		t.Errorf("%d of %d readings from 1.2 s on give a pitch", right, late)
	}
}

// What goes on at one long period and is a chord has no pitch below all of its own.
func TestChordOfVoicesIsNoUnison(t *testing.T) {
	for i, ratios := range [][]float64{{5, 7}, {5, 8}, {7, 9}} {
		s := newScene(2.5, testRate, -80, newRand(1))
		for k, r := range ratios {
			s.voices(1, 55*r, 1, newRand(uint64(10*i+k)))
		}
		h := listen(t, Config{Live: true}, s.x, 512)
		for _, r := range h.sounding() {
			if off := math.Abs(stiffstring.Cents(r.F1Hz, 55)); off < 50 {
				t.Errorf("%v: read as %.2f Hz, below all that sounds", ratios, r.F1Hz)
				break
			}
		}
	}
}
