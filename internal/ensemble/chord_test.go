package ensemble

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tunerd/internal/sound"
)

// The chords are those that the estimator was first tried on: the open strings of a guitar and an
// E major shape, both in twelve equal steps, and a just chord.
var chords = []struct {
	name string
	hz   []float64
}{
	{"open EADGBE", []float64{82.407, 110, 146.832, 195.998, 246.942, 329.628}},
	{"E major 022100", []float64{82.407, 123.471, 164.814, 207.652, 246.942, 329.628}},
	{"just 4:5:6:7:8:10", []float64{110, 137.5, 165, 192.5, 220, 275}},
}

// stringB returns ordinary inharmonicities of guitar strings, interpolated over their pitch (own
// round figures).
func stringB(hz float64) float64 {
	at := []float64{82, 110, 147, 196, 247, 330}
	b := []float64{1.2e-4, 8e-5, 6e-5, 1.0e-4, 7e-5, 5e-5}
	for i := 1; i < len(at); i++ {
		if hz < at[i] {
			u := math.Max(0, (hz-at[i-1])/(at[i]-at[i-1]))
			return b[i-1] + u*(b[i]-b[i-1])
		}
	}
	return b[len(b)-1]
}

var trials = flag.Int("trials", 20, "")

// A trial is how a chord is made.
type trial struct {
	hz      []float64
	spread  float64 // offsets lie within ± this, cents
	real    bool    // scatter 0.3 cent and a second polarisation
	seconds float64
	snr     float64
	muted   int // this string does not sound; −1: all do
	seed    uint64
	knownB  bool
	rate    float64
}

// make returns the sound, the strings as the reader is told of them and the true offsets.
func (c trial) make() (x []float64, strings []String, offsets []float64) {
	rng := rand.New(rand.NewPCG(c.seed, 7))
	n := int(c.seconds * c.rate)
	x = make([]float64, n)
	part := make([]float64, n)
	for i, hz := range c.hz {
		off := c.spread * (2*rng.Float64() - 1)
		offsets = append(offsets, off)
		told := String{Number: i + 1, Label: fmt.Sprint(i + 1), Hz: hz}
		b := stringB(hz)
		if c.knownB {
			told.B = b
		}
		strings = append(strings, told)
		s := sound.String(hz * math.Exp(off/centsPerNeper))
		s.B = b * math.Exp(0.1*rng.NormFloat64())
		s.Partials = max(6, int(2600/hz/1.03))
		s.Pluck = 0.09 + 0.11*rng.Float64()
		s.StartS = 0.06
		if c.real {
			s.ScatterCents = 0.3
			s.Polarisation = sound.Polarisation{Cents: 0.4, Amplitude: 0.25, DecayFactor: 2}
		}
		truth := s.Render(part, c.rate, rng)
		gain := math.Pow(10, (8*rng.Float64()-4)/20) / truth.SignalRMS
		if i == c.muted {
			continue
		}
		for j, v := range part {
			x[j] += gain * v
		}
	}
	var power float64
	for _, v := range x {
		power += v * v / float64(n)
	}
	sigma := math.Sqrt(power * math.Pow(10, -c.snr/10))
	for j := range x {
		x[j] = 0.05 * (x[j] + sigma*rng.NormFloat64())
	}
	return x, strings, offsets
}

// A tally gathers what came of trials.
type tally struct {
	errors  []float64
	sigmas  []float64
	covered int
	missed  int // sounding strings reported silent
	false_  int // muted strings reported as sounding
	muted   int
}

func (t *tally) add(c trial, got []StringReading, offsets []float64) {
	for i, r := range got {
		switch {
		case i == c.muted:
			t.muted++
			if r.Sounding {
				t.false_++
			}
		case !r.Sounding:
			t.missed++
		default:
			e := math.Abs(r.Cents - offsets[i])
			t.errors = append(t.errors, e)
			t.sigmas = append(t.sigmas, r.SigmaCents)
			if e <= 1.96*r.SigmaCents {
				t.covered++
			}
		}
	}
}

func (t *tally) quantile(q float64) float64 { return quantile(t.errors, q) }

func quantile(x []float64, q float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	if len(s) == 0 {
		return math.NaN()
	}
	return s[int(q*float64(len(s)-1)+0.5)]
}

func (t *tally) above(limit float64) float64 {
	n := 0
	for _, e := range t.errors {
		if e > limit {
			n++
		}
	}
	return float64(n) / float64(len(t.errors))
}

func (t *tally) String() string {
	return fmt.Sprintf("median %.4f, 90%% %.4f, above 5 c %.2f%%, sigma median %.4f, covered %.1f%%, missed %d of %d, false %d of %d",
		t.quantile(0.5), t.quantile(0.9), 100*t.above(5), quantile(t.sigmas, 0.5), 100*float64(t.covered)/float64(len(t.errors)),
		t.missed, len(t.errors)+t.missed, t.false_, t.muted)
}
func TestTry(t *testing.T) {
	for _, c := range []trial{
		{spread: 2}, {spread: 2, real: true}, {spread: 30}, {spread: 30, real: true}, {spread: 58}, {spread: 58, real: true},
	} {
		for _, known := range []bool{true, false} {
			for _, muted := range []bool{false, true} {
				for _, ch := range chords {
					var sum tally
					for seed := range uint64(*trials) {
						c.hz, c.knownB, c.seconds, c.snr, c.rate, c.seed = ch.hz, known, 1, 40, 48000, seed
						c.muted = -1
						if muted {
							c.muted = int(seed) % len(ch.hz)
						}
						x, s, off := c.make()
						r, err := NewReader(Config{SampleRate: 48000, Strings: s})
						if err != nil {
							t.Fatal(err)
						}
						got, err := r.Read(x)
						if err != nil {
							t.Fatal(err)
						}
						sum.add(c, got, off)
					}
					fmt.Printf("known B %v real %v ±%g %s: %v\n", known, c.real, c.spread, ch.name, &sum)
				}
			}
		}
	}
}
