package pitch

import (
	"math"
	"slices"
	"testing"

	"tunerd/internal/sound"
)

// σ names what it is made of, and names what is there: each sound has one thing that makes its pitch unsure.
func TestSigmaNamesItsReason(t *testing.T) {
	const hz = 196.0
	for _, tc := range []struct {
		name   string
		change func(*sound.StringSpec)
		snrDB  float64
		atS    float64 // of the reading, after the pluck
		term   func(Variance) float64
	}{
		{"hiss", func(*sound.StringSpec) {}, 12, 1, func(v Variance) float64 { return v.Noise }},
		{"partials off the law", func(s *sound.StringSpec) { s.ScatterCents = 1 }, 60, 1, func(v Variance) float64 { return v.Scatter }},
		{"a pluck that has just begun", func(s *sound.StringSpec) { s.GlideCents, s.GlideTau = 15, 0.2 }, 60, 0.06, func(v Variance) float64 { return v.Glide }},
		{"a hand on the peg", func(s *sound.StringSpec) { s.Ramp = sound.Ramp{Start: 0.6, End: 2, Cents: 40} }, 60, 1.2, func(v Variance) float64 { return v.Movement }},
	} {
		s := newScene(2.2, testRate, -20-tc.snrDB, newRand(21))
		spec := sound.String(hz)
		tc.change(&spec)
		s.pluck(spec, 0.3, -20, newRand(22))
		var nearest Reading
		for _, r := range listen(t, Config{Live: true}, s.x, 512).sounding() {
			v := r.Variance
			if sum := v.Noise + v.Scatter + v.Stiffness + v.Glide + v.Movement + v.Vibrato + v.Unmodelled; math.Abs(math.Sqrt(sum)-r.SigmaCents) > 1e-12*r.SigmaCents {
				t.Fatalf("%s: terms %+v give %g, σ is %g", tc.name, v, math.Sqrt(sum), r.SigmaCents)
			}
			for _, term := range terms(v) {
				if !(term >= 0) {
					t.Fatalf("%s: a term below 0 in %+v", tc.name, v)
				}
			}
			if at := (0.3 + tc.atS) * testRate; nearest.At == 0 || math.Abs(float64(r.At)-at) < math.Abs(float64(nearest.At)-at) {
				nearest = r
			}
		}
		if !(tc.term(nearest.Variance) >= slices.Max(terms(nearest.Variance))) {
			t.Errorf("%s: not the largest part of σ = %.4f cents at %.3f s: %+v", tc.name, nearest.SigmaCents, float64(nearest.At)/testRate-0.3, nearest.Variance)
		}
	}
}

func terms(v Variance) []float64 {
	return []float64{v.Noise, v.Scatter, v.Stiffness, v.Glide, v.Movement, v.Vibrato, v.Unmodelled}
}

// reasons returns why what sounded in x was not taken for a note, in the order in which that was told.
func reasons(t *testing.T, cfg Config, x []float64) []string {
	t.Helper()
	var all []string
	cfg.OnRefused = func(_ float64, reason string) { all = append(all, reason) }
	listen(t, cfg, x, 512)
	return all
}

// What is refused says why.
func TestRefusalsHaveAReason(t *testing.T) {
	hum := newScene(1.5, testRate, -80, newRand(31))
	for i := range hum.x {
		for k := 1.0; k <= 5; k++ {
			hum.x[i] += 0.05 / k * math.Sin(2*math.Pi*50*k*float64(i)/testRate)
		}
	}
	hiss := newScene(0.5, testRate, -80, newRand(32))
	hiss.x = append(hiss.x, newScene(0.6, testRate, -30, newRand(33)).x...)
	for _, tc := range []struct {
		name string
		x    []float64
		want string
	}{
		{"mains hum", hum.x, "it is mains hum"},
		{"hiss", hiss.x, "no period and no spacing of partials stands out"},
	} {
		for _, live := range []bool{true, false} {
			if got := reasons(t, Config{Live: live}, tc.x); !slices.Contains(got, tc.want) {
				t.Errorf("%s, live %v: refused because %q, want %q", tc.name, live, got, tc.want)
			}
		}
	}
}
