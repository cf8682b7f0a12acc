package engine

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
	"tunerd/internal/sound"
)

// A tape plays samples.
type tape struct {
	samples []float64
	rate    int
	at      int64
}

func (p *tape) Name() string    { return "tape" }
func (p *tape) SampleRate() int { return p.rate }
func (p *tape) Live() bool      { return false }
func (p *tape) Close() error    { return nil }
func (p *tape) Read(_ context.Context, dst []float64) (capture.Block, error) {
	n := copy(dst, p.samples[p.at:])
	if n == 0 {
		return capture.Block{}, io.EOF
	}
	p.at += int64(n)
	return capture.Block{Samples: dst[:n], Start: p.at - int64(n)}, nil
}

// TestListenerReadsEachPluckOnce plays three plucks of known pitch that ring on into each other and
// a fourth that is stopped too soon. The pitch glides, so that only the same moment of each gives
// the same reading: its truth is the pitch at the middle of the window. Seed 11.
func TestListenerReadsEachPluckOnce(t *testing.T) {
	const rate = 48000
	window := [2]float64{0.3, 1.5}
	rng := rand.New(rand.NewPCG(11, 1))
	scene := make([]float64, 12*rate)
	spec := sound.String(146.83)
	spec.GlideCents, spec.GlideTau = 8, 0.4
	var truth []float64
	for i, f := range []float64{146.83, 148.1, 147.3, 146.83} {
		spec := spec
		spec.F1Hz = f
		spec.DampS = 2.6
		if i == 3 {
			spec.DampS = 0.5
		}
		spec.AddTo(scene, rate/2+i*3*rate*9/10, rate, rng)
		truth = append(truth, f*math.Exp2(spec.CentsAt((window[0]+window[1])/2)/1200))
	}
	for i := range scene {
		scene[i] += 2e-4 * rng.NormFloat64()
	}
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := NewListener(ListenerConfig{Source: &tape{samples: scene, rate: rate}, Tracker: tracker, Window: window})
	if err != nil {
		t.Fatal(err)
	}
	l.Expect(70, []float64{146.83})
	var plucks []Pluck
	short, readings := 0, 0
	err = l.Run(t.Context(), func(h Heard) {
		switch {
		case h.Pluck != nil:
			plucks = append(plucks, *h.Pluck)
		case h.Short:
			short++
		case h.Now != nil:
			readings++
		}
	})
	if err != nil || len(plucks) != 3 || short != 1 || readings < 100 {
		t.Fatalf("%d plucks, %d short, %d readings, error %v; want 3 plucks and 1 short", len(plucks), short, readings, err)
	}
	for i, p := range plucks {
		// The glide bends within the window, which the estimator follows to a tenth of a cent.
		if off := 1200 * math.Log2(p.F1Hz/truth[i]); math.Abs(off) > 0.1+3*p.SigmaCents {
			t.Errorf("pluck %d: %.3f cents off (±%.3f)", i, off, p.SigmaCents)
		}
		if at := 0.5 + 2.7*float64(i); math.Abs(p.OnsetS-at) > 0.03 {
			t.Errorf("pluck %d: onset at %.3f s, want %.3f", i, p.OnsetS, at)
		}
	}
}

func TestListenerRefusesAWindow(t *testing.T) {
	for _, w := range [][2]float64{{1, 0.5}, {-1, 1}, {0.3, 0.35}, {0, 100}, {math.NaN(), 1}} {
		if _, err := NewListener(ListenerConfig{Source: &tape{rate: 48000}, Window: w}); err == nil {
			t.Errorf("window %v was taken", w)
		}
	}
}
