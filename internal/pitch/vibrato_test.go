package pitch_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
)

// A swung is a tone of up to sixteen partials that fall as 1/k, from swungFrom on, whose pitch swings about hz
// by cents·sin(2π·perS·t + a phase that the stream decides). What its pitch was is known from that formula.
type swung struct {
	hz, cents, perS float64
	swellS          float64 // s in which it comes; 0: at once
}

const (
	swungFrom = 0.3 // s
	swungTo   = 2.3 // s
)

// render returns the sound and the cents by which its pitch lies from hz, summed from its beginning.
func (v swung) render(stream uint64) (x, sum []float64) {
	rng := rand.New(rand.NewPCG(seed, stream))
	x, sum = make([]float64, int(swungTo*rate)), make([]float64, int(swungTo*rate)+1)
	phases := make([]float64, min(16, int(0.42*rate/v.hz)))
	for k := range phases {
		phases[k] = 2 * math.Pi * rng.Float64()
	}
	begin, turns := 2*math.Pi*rng.Float64(), 0.0
	for i := range x {
		x[i] = 1e-4 * rng.NormFloat64()
		s := float64(i)/rate - swungFrom
		off := v.cents * math.Sin(2*math.Pi*v.perS*s+begin)
		sum[i+1] = sum[i] + off
		if s < 0 {
			continue
		}
		turns += v.hz * math.Exp2(off/1200) / rate
		level := 0.1
		if v.swellS > 0 {
			level *= 1 - math.Exp(-s/v.swellS)
		}
		for k, p := range phases {
			x[i] += level / float64(k+1) * math.Cos(2*math.Pi*float64(k+1)*turns+p)
		}
	}
	return x, sum
}

// swings calls f with tones as voices and violins have them: depths of 5 to 60 cents, 4 to 7 swings a second.
func swings(f func(v swung, stream uint64)) {
	var stream uint64
	for _, hz := range []float64{110, 220, 440, 880} {
		for _, depth := range []float64{5, 15, 30, 45, 60} {
			for _, perS := range []float64{4, 5.5, 7} {
				stream++
				f(swung{hz, depth, perS, 0.08 * float64(stream%2)}, stream)
			}
		}
	}
}

func (v swung) String() string {
	return fmt.Sprintf("%g Hz ± %g cents %g times a second, swelling in %g s", v.hz, v.cents, v.perS, v.swellS)
}

// The whole of a swinging note is read at its mean pitch, with a σ that is not that of a steady one.
func TestWholeNotesWithVibrato(t *testing.T) {
	swings(func(v swung, stream uint64) {
		x, sum := v.render(stream)
		h := listen(t, pitch.Config{}, x, 0)
		if len(h.notes) != 1 {
			t.Errorf("%v, seed %d/%d: %d notes, want 1", v, seed, stream, len(h.notes))
			return
		}
		n := h.notes[0]
		from, to := int((swungTo-n.WindowS)*rate), len(x)
		mean := (sum[to] - sum[from]) / float64(to-from)
		off := stiffstring.Cents(n.F1Hz, v.hz) - mean
		if !(math.Abs(off) <= 3*n.SigmaCents+0.02) || n.SigmaCents > v.cents/4 {
			t.Errorf("%v, seed %d/%d: a note %+.2f ± %.3f cents from its mean", v, seed, stream, off, n.SigmaCents)
		}
	})
}

// Live readings of a swinging note say how much it swings. What they give is the mean pitch of the latest
// WindowS (see Reading), and the truth lies within 1.96 σ of nine in ten. The first liveFrom seconds of a single
// tone are left out: a tone that begins at once and falls is told from a pluck's glide only when it rises again.
func TestLiveReadingsWithVibrato(t *testing.T) {
	const liveFrom = 0.15 // s
	var all, good, within, wide float64
	swings(func(v swung, stream uint64) {
		x, sum := v.render(stream)
		var own, ownGood float64
		var sigmas []float64
		for _, r := range listen(t, pitch.Config{Live: true}, x, 0).readings {
			if r.State != pitch.Sounding {
				continue
			}
			from, to := max(int(swungFrom*rate), int(float64(r.At)-r.WindowS*rate)), min(int(r.At), len(x))
			mean := (sum[to] - sum[from]) / float64(to-from)
			fair := math.Abs(stiffstring.Cents(r.F1Hz, v.hz)-mean) <= 1.96*r.SigmaCents+0.02
			all++
			if fair {
				good++
			}
			if math.Abs(stiffstring.Cents(r.F1Hz, v.hz)-(sum[to]-sum[to-1])) <= 1.96*r.SigmaCents {
				within++
			}
			if float64(to)/rate < swungFrom+liveFrom {
				continue
			}
			own++
			if fair {
				ownGood++
			}
			sigmas = append(sigmas, r.SigmaCents)
		}
		if own < 0.9*(swungTo-swungFrom-liveFrom)*rate/512 || ownGood < 0.9*own {
			t.Errorf("%v, seed %d/%d: %.0f of %.0f readings hold the mean of their window", v, seed, stream, ownGood, own)
		}
		slices.Sort(sigmas)
		if s := sigmas[len(sigmas)/2]; s > 1.5*v.cents+5 {
			t.Logf("%v, seed %d/%d: a σ of %.1f cents is the middle of all", v, seed, stream, s)
			wide++
		}
	})
	t.Logf("%.1f %% of %.0f readings hold the mean of their window, %.1f %% the pitch of their last instant", 100*good/all, all, 100*within/all)
	if wide > 2 {
		t.Errorf("%.0f tones have a σ that says nothing, want at most 2 of 60", wide)
	}
	if good < 0.9*all {
		t.Errorf("%.1f %% of %.0f readings hold the mean of their window, want 90", 100*good/all, all)
	}
}
