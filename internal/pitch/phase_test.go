package pitch

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"

	"tunerd/internal/sound"
)

// plucked renders a string plucked 0.5 s into the window, at 40 dB over white noise, and its truth.
func plucked(hz, fs, seconds float64) ([]float64, sound.Truth) {
	spec := sound.String(hz)
	spec.StartS, spec.SNRdB = -0.5, 40
	x := make([]float64, int(seconds*fs))
	return x, spec.Render(x, fs, newRand(5))
}

// truePhase returns the phase of partial k at sample at, in turns, and its amplitude over the noise.
func truePhase(tr sound.Truth, n int, fs, at float64, k int) (turns, snr float64) {
	s := (at - float64(n-1)/2) / fs // from the middle of the window
	turns = tr.Phases[k-1]/(2*math.Pi) + tr.Freqs[k-1]*s
	return turns, tr.Amps[k-1] * math.Exp(-tr.Decays[k-1]*s) / tr.NoiseSigma
}

// lookS is for how long a phase is measured at least: the rms error of the phase of a sinusoid of
// peak amplitude A in white noise σ over N samples is √(2/N)·σ/A rad when its frequency is known
// (S. M. Kay, Estimation Theory, 1993, ch. 3); a Hann weight raises that by √1.5, and reading the
// phase half that time later adds nothing if the frequency is.
const lookS = 0.025

func TestStrobePhase(t *testing.T) {
	for _, fs := range []float64{44100, 48000} {
		for _, hz := range []float64{30.868, 82.407, 110, 196, 329.628, 440, 880} {
			t.Run(fmt.Sprintf("rate=%g/%g Hz", fs, hz), func(t *testing.T) {
				t.Parallel()
				x, tr := plucked(hz, fs, 3)
				checked := map[int]int{}
				for _, r := range listen(t, Config{SampleRate: fs, Live: true}, x, 512).sounding() {
					if float64(r.At)/fs < 0.75 {
						continue // a quarter second for the frequency to be known
					}
					for _, p := range r.Partials {
						if p.N > 4 {
							continue
						}
						want, snr := truePhase(tr, len(x), fs, float64(r.At), p.N)
						noise := math.Sqrt(1.5*2/(lookS*fs)) / snr / (2 * math.Pi)
						if 5*noise > 0.01 {
							continue
						}
						checked[p.N]++
						if off := math.Remainder(p.PhaseTurns-want, 1); math.Abs(off) > 0.01 {
							t.Fatalf("seed %d: partial %d is %+.4f turns off at %.3f s, want within 0.01 (noise %.4f)",
								testSeed, p.N, off, float64(r.At)/fs, noise)
						}
					}
				}
				for k := 1; k <= 4; k++ {
					if checked[k] < 20 {
						t.Errorf("partial %d: only %d phases could be checked", k, checked[k])
					}
				}
			})
		}
	}
}

// Against a target one cent away, band k of a string without stiffness drifts by k times the beat
// rate: to the right (phase against the target's grows) if the string is sharp.
func TestStrobeDrift(t *testing.T) {
	for _, hz := range []float64{82.407, 196, 440} {
		for _, off := range []float64{1, -1} {
			spec := sound.String(hz)
			spec.B, spec.StartS, spec.SNRdB = 0, -0.5, 40
			x := make([]float64, 3*testRate)
			spec.Render(x, testRate, newRand(6))
			target := hz * math.Exp2(-off/1200)
			at, turns := driftOf(listen(t, Config{Live: true}, x, 512).sounding(), target)
			for k := 1; k <= 4; k++ {
				want := float64(k) * (hz - target)
				_, got := stat.LinearRegression(at[k], turns[k], nil, false)
				if !(math.Abs(got/want-1) < 0.02) {
					t.Errorf("%g Hz, %+g cent: band %d drifts by %+.4f turns/s, want %+.4f within 2%%", hz, off, k, got, want)
				}
			}
		}
	}
}

// driftOf returns times (s) and unwrapped phases (turns) of partials 1 to 4 against a target.
func driftOf(readings []Reading, target float64) (at, turns [5][]float64) {
	for _, r := range readings {
		s := float64(r.At) / testRate
		if s < 0.75 || s > 2 {
			continue
		}
		for _, p := range r.Partials {
			if p.N > 4 {
				continue
			}
			now := p.PhaseTurns - math.Mod(float64(p.N)*target*s, 1)
			if n := len(turns[p.N]); n > 0 {
				now = turns[p.N][n-1] + math.Remainder(now-turns[p.N][n-1], 1)
			}
			at[p.N], turns[p.N] = append(at[p.N], s), append(turns[p.N], now)
		}
	}
	return at, turns
}
