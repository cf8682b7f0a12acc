package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
)

func pinkX(n int, db float64, seed uint64) []float64 {
	// Kellet-like sum is avoided: 1/f by summing octave-held noise (Voss)
	rng := newRand(seed)
	x := make([]float64, n)
	var rows [16]float64
	for i := range x {
		for k := range rows {
			if i%(1<<k) == 0 {
				rows[k] = rng.NormFloat64()
			}
			x[i] += rows[k]
		}
		x[i] += rng.NormFloat64()
	}
	var m, p float64
	for _, v := range x {
		m += v
	}
	m /= float64(n)
	for i := range x {
		x[i] -= m
		p += x[i] * x[i]
	}
	g := math.Pow(10, db/20) / math.Sqrt(p/float64(n))
	for i := range x {
		x[i] *= g
	}
	return x
}

func summ(name string, h hearing, fs float64) {
	s := h.sounding()
	fmt.Printf("%-28s readings %d sounding %d notes %d", name, len(h.readings), len(s), len(h.notes))
	if len(s) > 0 {
		fmt.Printf(" first at %.3f onset %.3f f1 %.2f±%.2f snr %.1f np %d", float64(s[0].At)/fs, float64(s[0].Onset)/fs, s[0].F1Hz, s[0].SigmaCents, s[0].SNRdB, len(s[0].Partials))
	}
	for _, n := range h.notes {
		fmt.Printf(" | %.3f-%.3f %.3f ± %.3f snr %.1f np %d", float64(n.Start)/fs, float64(n.End)/fs, n.F1Hz, n.SigmaCents, n.SNRdB, len(n.Partials))
	}
	fmt.Println()
}

func TestXNoise(t *testing.T) {
	for _, live := range []bool{true, false} {
		cfg := Config{Live: live}
		fmt.Println("live", live)
		for seed := range uint64(4) {
			s := newScene(5, 48000, -40, newRand(seed))
			summ(fmt.Sprint("white ", seed), listen(t, cfg, s.x, 512), 48000)
			summ(fmt.Sprint("pink ", seed), listen(t, cfg, pinkX(240000, -40, seed), 512), 48000)
		}
		summ("silence", listen(t, cfg, make([]float64, 240000), 512), 48000)
		for _, noise := range []float64{-200, -80, -60} {
			s := newScene(5, 48000, noise, newRand(9))
			for i := range 9 {
				s.x[24000*i+12345] += 0.5
			}
			summ(fmt.Sprint("clicks noise ", noise), listen(t, cfg, s.x, 512), 48000)
			for _, mains := range []float64{50, 60} {
				s = newScene(5, 48000, noise, newRand(9))
				hum(s, mains, -30, newRand(4))
				summ(fmt.Sprint("hum ", mains, noise), listen(t, cfg, s.x, 512), 48000)
				s.pluck(sound.String(82.41), 2, -20, newRand(3))
				summ(fmt.Sprint("hum+E2 ", mains, noise), listen(t, cfg, s.x, 512), 48000)
			}
		}
	}
}

func hum(s scene, mains, db float64, rng interface{ Float64() float64 }) {
	for j, g := range []float64{1, .3, .5, .15, .25} {
		ph := rng.Float64() * 2 * math.Pi
		for i := range s.x {
			s.x[i] += math.Sqrt2 * math.Pow(10, db/20) * g * math.Cos(2*math.Pi*mains*float64(j+1)*float64(i)/s.fs+ph)
		}
	}
}

func TestXPluck(t *testing.T) {
	for _, live := range []bool{true, false} {
		for _, hz := range []float64{30.87, 41.2, 55, 82.41, 110, 146.8, 196, 246.9, 329.6, 440, 659, 880, 1318, 2093, 3520} {
			for _, lev := range []float64{-10, -30, -50} {
				s := newScene(3, 48000, lev-40, newRand(1))
				s.pluck(sound.String(hz), 0.5003, lev, newRand(2))
				h := listen(t, Config{Live: live}, s.x, 512)
				fmt.Printf("%v %.1f ", live, hz)
				summ(fmt.Sprint(lev), h, 48000)
				for _, r := range h.sounding() {
					if c := cents(r.F1Hz, hz); math.Abs(c) > 5*r.SigmaCents+3 || math.IsNaN(c) {
						fmt.Printf("   BAD at %.3f: %.2f ± %.2f cents\n", float64(r.At)/48000, c, r.SigmaCents)
						break
					}
				}
				for _, n := range h.notes {
					fmt.Printf("   note %.3f cents ± %.3f onset +%.1f ms\n", cents(n.F1Hz, hz), n.SigmaCents, 1000*(float64(n.Start)/48000-0.5003))
				}
			}
		}
	}
}

func TestXPhase(t *testing.T) {
	for _, hz := range []float64{30.87, 82.41, 110, 196, 329.6, 440, 880} {
		spec := sound.String(hz)
		spec.StartS, spec.SNRdB = -0.5, 40
		x := make([]float64, 3*48000)
		tr := spec.Render(x, 48000, newRand(5))
		h := listen(t, Config{Live: true}, x, 512)
		var worst [5]float64
		var worstAt [5]float64
		for _, r := range h.sounding() {
			for _, p := range r.Partials {
				if p.N > 4 {
					continue
				}
				want := tr.Phases[p.N-1]/(2*math.Pi) + tr.Freqs[p.N-1]*(float64(r.At)-float64(len(x)-1)/2)/48000
				e := math.Abs(math.Remainder(p.PhaseTurns-want, 1))
				if e > worst[p.N] {
					worst[p.N], worstAt[p.N] = e, float64(r.At)/48000-0.5
				}
			}
		}
		fmt.Printf("%.2f worst %.4f at %.2f\n", hz, worst[1:], worstAt[1:])
	}
}

func TestXMisc(t *testing.T) {
	fs := 48000.0
	rep := func(name string, h hearing, hz float64) {
		summ(name, h, fs)
		for _, n := range h.notes {
			fmt.Printf("   note err %.3f ± %.3f att %.2f start %.4f end %.4f B %.2g np %d lev %.1f at %d\n", cents(n.F1Hz, hz), n.SigmaCents, cents(n.AttackF1Hz, hz), float64(n.Start)/fs, float64(n.End)/fs, n.B, len(n.Partials), n.LevelDB, n.At)
		}
	}
	for _, live := range []bool{true, false} {
		fmt.Println("=== live", live)
		for _, hz := range []float64{55, 110, 329.6} {
			s := newScene(3, fs, -70, newRand(1))
			sp := sound.String(hz)
			sp.GlideCents, sp.GlideTau = 8, 0.2
			s.pluck(sp, 0.8003, -20, newRand(2))
			h := listen(t, Config{Live: live}, s.x, 512)
			rep(fmt.Sprint("glide ", hz), h, hz)
			for _, r := range h.sounding() {
				ti := float64(r.At)/fs - .8003
				if c := cents(r.F1Hz, hz); int(ti*100)%15 == 0 {
					fmt.Printf("      %.2f: %.2f ± %.2f w %.2f att %.2f true %.2f\n", ti, c, r.SigmaCents, r.WindowS, cents(r.AttackF1Hz, hz), sp.CentsAt(ti))
				}
			}
		}
		for _, hz := range []float64{30.87, 82.41, 196, 880} {
			s := newScene(4, fs, -70, newRand(1))
			s.pluck(sound.String(hz), 0.8003, -20, newRand(2))
			s.pluck(sound.String(hz*1.0003), 1.8003, -20, newRand(3))
			rep(fmt.Sprint("repluck over ", hz), listen(t, Config{Live: live}, s.x, 512), hz)
			s = newScene(4, fs, -70, newRand(1))
			sp := sound.String(hz)
			sp.DampS = 1
			s.pluck(sp, 0.8003, -20, newRand(2))
			s.pluck(sound.String(hz*1.5), 1.8003, -20, newRand(3))
			rep(fmt.Sprint("two pitches ", hz), listen(t, Config{Live: live}, s.x, 512), hz)
			s = newScene(4, fs, -70, newRand(1))
			sp.DampS = 0
			s.pluck(sp, 0.8003, -20, newRand(2))
			s.pluck(sound.String(hz*1.3333), 1.8003, -20, newRand(3))
			rep(fmt.Sprint("two ringing over ", hz), listen(t, Config{Live: live}, s.x, 512), hz)
			s = newScene(3, fs, -70, newRand(1))
			s.pluck(sp, 0.8003, -20, newRand(2))
			rep(fmt.Sprint("window ", hz), listen(t, Config{Live: live, Window: [2]float64{.3, 1}}, s.x, 512), hz)
		}
	}
	for _, f := range []float64{8000, 11025, 22050, 44100, 96000, 192000} {
		fs = f
		for _, live := range []bool{true, false} {
			for _, hz := range []float64{30.87, 82.41, 440, 880} {
				s := newScene(2.5, fs, -70, newRand(1))
				s.pluck(sound.String(hz), 0.8003, -20, newRand(2))
				rep(fmt.Sprint("rate ", fs, live, hz), listen(t, Config{SampleRate: fs, Live: live}, s.x, 512), hz)
			}
		}
	}
}

func TestXBad(t *testing.T) {
	fs := 48000.0
	for name, bad := range map[string]float64{"nan": math.NaN(), "inf": math.Inf(1), "huge": 1e300, "max": math.MaxFloat64, "denormal": 5e-324, "1e200": 1e200} {
		for _, n := range []int{1, 1000} {
			for _, live := range []bool{true, false} {
				s := newScene(4, fs, -70, newRand(1))
				for i := range n {
					s.x[20000+i] = bad
				}
				s.pluck(sound.String(110), 1.5, -20, newRand(2))
				for i := range n {
					s.x[100000+i] = bad
				}
				s.pluck(sound.String(110), 2.8, -20, newRand(2))
				summ(fmt.Sprint(name, n, live), listen(t, Config{Live: live}, s.x, 512), fs)
			}
		}
	}
	s := newScene(4, fs, -70, newRand(1))
	s.pluck(sound.String(110), 0.5, -20, newRand(2))
	for _, block := range []int{1, 479, 512, 4096, 100000} {
		for _, live := range []bool{true, false} {
			h := listen(t, Config{Live: live}, s.x, block)
			summ(fmt.Sprint("block", block, live), h, fs)
			for _, n := range h.notes {
				fmt.Printf("%.17g %.17g\n", n.F1Hz, n.SigmaCents)
			}
		}
	}
}
