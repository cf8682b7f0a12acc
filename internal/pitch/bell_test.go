package pitch_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
)

// A struck is something struck whose partials belong to no string.
type struck struct {
	name   string
	ratios []float64 // of the partials' frequencies to the named pitch
	t60    float64   // s, of the lowest; others as √ratio faster
	// lowest says that the lowest partial stands alone so clearly that its own frequency is a fair reading.
	lowest bool
	// misleadsBelow is the named pitch (Hz) below which it is still given a string's pitch.
	misleadsBelow float64
}

// bars returns the ratios of a bar's transverse modes: the squares of the roots of Euler and
// Bernoulli's frequency equation over that of the first.
func bars(roots ...float64) []float64 {
	var out []float64
	for _, r := range roots {
		out = append(out, r*r/(roots[0]*roots[0]))
	}
	return out
}

var struckThings = []struck{
	// Partials of a minor-third bell: N. H. Fletcher and T. D. Rossing, The Physics of Musical
	// Instruments, 2nd ed., ch. 21 (from memory), as measured: in just ratios all but one of them would be
	// partials of a string a twelfth below the lowest. Of a low one a sixth of a second does not tell the third
	// partial from those of a string that sounds at the lowest.
	{name: "bell", ratios: []float64{0.5, 1, 1.183, 1.506, 2, 2.514, 2.662, 3.011, 4.166, 5.433}, t60: 8, misleadsBelow: 80},
	{name: "free bar", ratios: bars(4.73004, 7.85320, 10.99561, 14.13717), t60: 1.5, lowest: true},
	{name: "clamped bar", ratios: bars(1.87510, 4.69409, 7.85476), t60: 1.5, lowest: true},
	// A chime rings in the modes of a free tube, of which the first three hardly sound.
	{name: "tubular bell", ratios: bars(14.13717, 17.27876, 20.42035, 23.56194, 26.70354), t60: 4},
	// Zeros of the Bessel functions J0, J1, J2, J0, J3, J1 over the first.
	{name: "drum head", ratios: []float64{1, 1.5933, 2.1355, 2.2954, 2.6531, 2.9173}, t60: 0.8, lowest: true},
	{name: "glass", ratios: []float64{1, 2.32, 4.25, 6.63, 9.38}, t60: 2, lowest: true},
	{name: "two partials, a tritone apart", ratios: []float64{1, math.Sqrt2}, t60: 4},
	{name: "cluster", ratios: []float64{1, 1.31, 1.73, 2.11, 2.57, 2.89, 3.41}, t60: 3},
}

// partial returns the amplitude of partial k at first and its rate of decay (1/s).
func (s struck) partial(k int) (amplitude, decay float64) {
	return 0.08 / (1 + 0.15*float64(k)), math.Log(1000) / s.t60 * math.Sqrt(s.ratios[k]/s.ratios[0])
}

// sinks returns the time (s) after it is struck at which it is as loud as noise of the given power.
func (s struck) sinks(noise float64) float64 {
	power := func(t float64) (sum float64) {
		for k := range s.ratios {
			a, decay := s.partial(k)
			sum += a * a / 2 * math.Exp(-2*decay*t)
		}
		return sum
	}
	low, high := 0.0, 10*s.t60
	for high-low > 1e-4 {
		if mid := (low + high) / 2; power(mid) > noise {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

func (s struck) render(hz float64, stream uint64) []float64 {
	return s.struckIn(hz, 0.4, 2, 1e-5, stream)
}

// struckIn returns seconds of white noise of standard deviation sigma in which it is struck at the instant at (s).
func (s struck) struckIn(hz, at, seconds, sigma float64, stream uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, stream))
	x := make([]float64, int(seconds*rate))
	for i := range x {
		x[i] = sigma * rng.NormFloat64()
	}
	for k, ratio := range s.ratios {
		phase := 2 * math.Pi * rng.Float64()
		amplitude, decay := s.partial(k)
		for i := int(at * rate); i < len(x); i++ {
			t := float64(i)/rate - at
			x[i] += amplitude * math.Exp(-decay*t) * math.Cos(2*math.Pi*hz*ratio*t+phase)
		}
	}
	return x
}

// What is struck and has no harmonic partials is said to be so, and not given a pitch that nothing
// sounds at. A tenth of the readings is granted to the strike itself.
func TestStruckThingsHaveNoStringsPitch(t *testing.T) {
	for _, s := range struckThings {
		for stream, hz := range []float64{180, 440, 900, 60, 90, 130, 300, 620, 1300} {
			if hz < s.misleadsBelow {
				continue
			}
			name := fmt.Sprintf("%s at %g Hz", s.name, hz)
			t.Run(name, func(t *testing.T) {
				fair := func(r *pitch.Reading) bool {
					return r.State != pitch.Sounding || s.lowest && math.Abs(stiffstring.Cents(r.F1Hz, hz*s.ratios[0])) <= 3*r.SigmaCents+1
				}
				for _, live := range []bool{true, false} {
					h := listen(t, pitch.Config{Live: live}, s.render(hz, uint64(stream)), 0)
					wrong := 0
					for i := range h.readings {
						if !fair(&h.readings[i]) {
							wrong++
						}
					}
					if wrong > len(h.readings)/10 {
						t.Errorf("live %v, seed %d: %d of %d readings give a pitch", live, seed, wrong, len(h.readings))
					}
					for _, n := range h.notes {
						if !fair(&n.Reading) {
							t.Errorf("live %v, seed %d: a note of %.2f Hz ± %.3f cents, %.3f of the named pitch", live, seed, n.F1Hz, n.SigmaCents, n.F1Hz/hz)
						}
					}
				}
			})
		}
	}
}

// A bell that is given no pitch is said to ring, and where: at its own partials.
func TestBellIsSaidToRing(t *testing.T) {
	const hz = 900
	for _, s := range struckThings[:1] {
		h := listen(t, pitch.Config{Live: true}, s.render(hz, 2), 0)
		rings := 0
		for _, r := range h.readings {
			if r.State != pitch.Inharmonic {
				continue
			}
			rings++
			for _, p := range r.Partials {
				nearest := math.Inf(1)
				for _, ratio := range s.ratios {
					nearest = min(nearest, math.Abs(stiffstring.Cents(p.Hz, hz*ratio)))
				}
				if p.N != 0 || nearest > 20 {
					t.Fatalf("%s, seed %d: partial %d of %.2f Hz is %.1f cents from any of its own", s.name, seed, p.N, p.Hz, nearest)
				}
			}
		}
		if rings < 20 {
			t.Errorf("%s, seed %d: said to ring in %d readings of %d", s.name, seed, rings, len(h.readings))
		}
	}
}

// A bell is said to ring from a quarter of a second after the strike until it sinks into the noise, to within
// 0.4 s: it takes a fifth of a second to tell its partials apart.
func TestBellIsSaidToRingAsLongAsItDoes(t *testing.T) {
	bell := struckThings[0]
	for i, hz := range []float64{300, 440, 900, 1300} {
		for j, noiseDB := range []float64{-70, -50, -40} {
			for _, at := range []float64{0, 0.2, 1} {
				sigma := math.Pow(10, noiseDB/20)
				sinks := at + bell.sinks(sigma*sigma)
				h := listen(t, pitch.Config{Live: true}, bell.struckIn(hz, at, sinks+2, sigma, uint64(10*i+j)), 0)
				name := fmt.Sprintf("bell at %g Hz, struck after %g s of noise at %g dB, seed %d", hz, at, noiseDB, seed)
				last, silent, all := 0.0, 0, 0
				for _, r := range h.readings {
					now := float64(r.At) / rate
					if r.State == pitch.Inharmonic {
						last = now
					}
					if now > at+0.25 && now < sinks-0.3 {
						all++
						if r.State != pitch.Inharmonic {
							silent++
						}
					}
				}
				if silent > 0 {
					t.Errorf("%s: not said to ring in %d of %d readings", name, silent, all)
				}
				if math.Abs(last-sinks) > 0.4 {
					t.Errorf("%s: said to ring until %+.2f s from where it sinks", name, last-sinks)
				}
			}
		}
	}
}

// Hum from the beginning, and what hums in partials of no string from some moment on and does not fade, are
// background before long.
func TestSteadySoundBecomesBackground(t *testing.T) {
	hum := []float64{1, 2, 3, 4, 5}
	tubes, drum, cluster := struckThings[3].ratios, struckThings[4].ratios, struckThings[7].ratios
	for _, c := range []struct {
		hz     float64
		ratios []float64
		begins float64 // s
	}{{50, hum, 0}, {60, hum, 0}, {97, cluster, 0.7}, {141, tubes, 0.7}, {440, cluster, 0.7}, {440, drum, 0}} {
		for stream := range uint64(4) {
			rng := rand.New(rand.NewPCG(seed, stream))
			x := make([]float64, int(5*rate))
			for i := range x {
				x[i] = 1e-4 * rng.NormFloat64()
			}
			for k, ratio := range c.ratios {
				phase := 2 * math.Pi * rng.Float64()
				for i := int(c.begins * rate); i < len(x); i++ {
					x[i] += 0.03 / float64(k+1) * math.Cos(2*math.Pi*c.hz*ratio*(float64(i)/rate-c.begins)+phase)
				}
			}
			for _, r := range listen(t, pitch.Config{Live: true}, x, 0).readings {
				if now := float64(r.At) / rate; now > c.begins+1.5 && r.State != pitch.Silent {
					t.Errorf("%g Hz times %v, %d, seed %d: state %d %.2f s after it began", c.hz, c.ratios, stream, seed, r.State, now-c.begins)
					break
				}
			}
		}
	}
}

// A string plucked while a bell rings is read, and the bell no longer said to ring.
func TestStringPluckedOverBell(t *testing.T) {
	x := struckThings[0].struckIn(900, 0.3, 4, 1e-4, 1)
	const hz, at = 110.0, 1.8 // s
	for k := 1; k <= 12; k++ {
		for i := int(at * rate); i < len(x); i++ {
			s := float64(i)/rate - at
			x[i] += 0.2 / float64(k) * math.Exp(-s) * math.Sin(2*math.Pi*hz*float64(k)*s)
		}
	}
	read := 0
	for _, r := range listen(t, pitch.Config{Live: true}, x, 0).readings {
		now := float64(r.At) / rate
		if now > 0.6 && now < at && r.State != pitch.Inharmonic {
			t.Fatalf("state %d at %.2f s, before the pluck", r.State, now)
		}
		if now > at+0.3 && now < at+1 && r.State == pitch.Sounding && math.Abs(stiffstring.Cents(r.F1Hz, hz)) < 1+3*r.SigmaCents {
			read++
		}
	}
	if read < 60 {
		t.Errorf("the string is read %d times within 0.7 s, want 65", read)
	}
}
