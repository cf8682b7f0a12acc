package ensemble

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
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

var (
	trials = flag.Int("trials", 3, "chords of each kind")
	page   = flag.String("write", "", "write the tables of synthetic and recorded chords to `FILE`")
)

// A report gathers the tables that are written to the page.
var report struct {
	reach, muted, recorded strings.Builder
}

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
func (c trial) make() (x []float64, told []String, offsets []float64) {
	rng := rand.New(rand.NewPCG(c.seed, 7))
	n := int(c.seconds * c.rate)
	x = make([]float64, n)
	part := make([]float64, n)
	for i, hz := range c.hz {
		off := c.spread * (2*rng.Float64() - 1)
		offsets = append(offsets, off)
		one := String{Number: i + 1, Label: fmt.Sprint(i + 1), Hz: hz}
		b := stringB(hz)
		if c.knownB {
			one.B = b
		}
		told = append(told, one)
		s := sound.String(hz * math.Exp(off/stiffstring.CentsPerNeper))
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
	return x, told, offsets
}

// A tally gathers what came of trials.
type tally struct {
	errors   []float64
	sigmas   []float64
	covered  int
	missed   int // sounding strings reported silent
	hidden   int // sounding strings reported as not to be told apart
	invented int // muted strings reported as sounding
	muted    int
	unsure   int // of these, reported as hidden
}

func (t *tally) add(c trial, got []StringReading, offsets []float64) {
	for i, r := range got {
		switch {
		case i == c.muted:
			t.muted++
			if r.Hidden {
				t.unsure++
			}
			if r.Sounding {
				t.invented++
			}
		case r.Hidden:
			t.hidden++
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

// missing returns the part of the sounding strings that were not read.
func (t *tally) missing() float64 {
	return float64(t.missed) / float64(t.missed+t.hidden+len(t.errors))
}

var (
	kinds     = map[bool]string{false: "ideal", true: "real"}
	knowledge = map[bool]string{false: "not known", true: "to 10 %"}
)

// cells returns the tally as cells of a table.
func (t *tally) cells() string {
	return fmt.Sprintf("%.4f | %.4f | %.1f | %.4f | %.1f | %d | %d | %d", t.quantile(0.5), t.quantile(0.9), 100*t.above(5),
		quantile(t.sigmas, 0.5), 100*float64(t.covered)/float64(len(t.errors)), len(t.errors), t.hidden, t.missed)
}

func (t *tally) String() string {
	return fmt.Sprintf("median %.4f, 90%% %.4f, above 5 c %.2f%%, sigma median %.4f, covered %.1f%%, hidden %d, missed %d of %d, invented %d and hidden %d of %d",
		t.quantile(0.5), t.quantile(0.9), 100*t.above(5), quantile(t.sigmas, 0.5), 100*float64(t.covered)/float64(len(t.errors)),
		t.hidden, t.missed, len(t.errors)+t.missed+t.hidden, t.invented, t.unsure, t.muted)
}

// read makes the sound of a trial and reads it.
func (c trial) read(t testing.TB) ([]StringReading, []float64) {
	t.Helper()
	x, told, offsets := c.make()
	r, err := NewReader(Config{SampleRate: c.rate, Strings: told})
	if err != nil {
		t.Fatal(err)
	}
	got, err := r.Read(x)
	if err != nil {
		t.Fatal(err)
	}
	return got, offsets
}

// TestReach holds the reader to what it has to reach on the synthetic chords: six strings, 40 dB,
// one second. The goals are of the project; the truth is the synthesiser's.
func TestReach(t *testing.T) {
	for _, known := range []bool{true, false} {
		for _, real := range []bool{false, true} {
			var all tally
			for _, spread := range []float64{2, 30} {
				for _, chord := range chords {
					var one tally
					for seed := range uint64(*trials) {
						c := trial{hz: chord.hz, spread: spread, real: real, seconds: 1, snr: 40, muted: -1, seed: seed, knownB: known, rate: 48000}
						got, offsets := c.read(t)
						one.add(c, got, offsets)
						all.add(c, got, offsets)
					}
					fmt.Fprintf(&report.reach, "| %s | ±%g | %s | %s | %s |\n", chord.name, spread, kinds[real], knowledge[known], one.cells())
					t.Logf("B known %v, scatter and polarisations %v, ±%g cents, %s, seeds 0 to %d: %v", known, real, spread, chord.name, *trials-1, &one)
				}
			}
			t.Logf("B known %v, scatter and polarisations %v, all: %v", known, real, &all)
			median, most := 0.01, 0.05
			if real {
				median, most = 0.2, 0.6
			}
			covered := float64(all.covered) / float64(len(all.errors))
			if all.quantile(0.5) > median || all.quantile(0.9) > most || all.above(5) > 0.01 || covered < 0.85 || all.missing() > 0.02 {
				t.Errorf("B known %v, real %v: %v; want median ≤ %g, 90%% ≤ %g, above 5 c ≤ 1%%, covered ≥ 85%%, missed ≤ 2%%", known, real, &all, median, most)
			}
		}
	}
}

// TestMuted mutes one string of each chord in turn: it must be told silent, and the others read.
func TestMuted(t *testing.T) {
	for _, real := range []bool{false, true} {
		var all tally
		for _, spread := range []float64{2, 30, 58} {
			for _, chord := range chords {
				for seed := range uint64(*trials) {
					c := trial{hz: chord.hz, spread: spread, real: real, seconds: 1, snr: 40, muted: int(seed) % len(chord.hz), seed: seed, rate: 48000}
					got, offsets := c.read(t)
					all.add(c, got, offsets)
				}
			}
		}
		fmt.Fprintf(&report.muted, "| %s | %d | %d | %d | %s |\n", kinds[real], all.muted, all.invented, all.unsure, all.cells())
		t.Logf("scatter and polarisations %v, seeds 0 to %d: %v", real, *trials-1, &all)
		if invented := float64(all.invented); invented > math.Max(2, 0.03*float64(all.muted)) || all.missing() > 0.02 || float64(all.unsure) > 0.3*float64(all.muted) {
			t.Errorf("real %v: %v; want ≤ 3%% invented (2 in few), ≤ 30%% hidden, ≤ 2%% missed", real, &all)
		}
	}
}

// TestMain writes the page, if that is wanted, after the tests that fill it.
func TestMain(m *testing.M) {
	flag.Parse()
	status := m.Run()
	if *page != "" && status == 0 {
		text := fmt.Sprintf(pageText, *trials-1, report.reach.String(), report.muted.String(), report.recorded.String())
		if err := os.WriteFile(*page, []byte(text), 0o666); err != nil {
			fmt.Fprintln(os.Stderr, err)
			status = 1
		}
	}
	os.Exit(status)
}

const pageText = `# Accuracy of several strings at once

What the readings of --all-strings are worth. Written by "make accuracy-strings"; the same seeds give the same figures on the same kind of processor.

## Synthetic chords

Six strings, one second, 48 kHz, white noise 40 dB below the chord over the whole band; each string at a random offset from its target, with all its partials up to 2.6 kHz, its level ±4 dB, plucked at a random point, its inharmonicity 10 %% about an ordinary one. "Real" strings scatter by 0.3 cent about the law and have a second polarisation (0.4 cent, −12 dB). Cents. Covered: how often ±1.96σ of the reading holds the truth. Hidden: strings of which the reader says that it cannot tell whether they sound. Seeds 0 to %d.

| chord | offsets | strings | B | median | 90 %% | above 5 c, %% | σ, median | covered, %% | read | hidden | missed |
|---|---|---|---|--:|--:|--:|--:|--:|--:|--:|--:|
%s
## A muted string

The same chords at offsets up to ±2, ±30 and ±58 cents, B not known, one string silent in turn. Invented: silent strings that are told to sound. The other figures are of the strings that do.

| strings | muted | invented | hidden | median | 90 %% | above 5 c, %% | σ, median | covered, %% | read | hidden | missed |
|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|
%s
## Recorded chords

Mixes of recorded notes (testdata/wav/chords), read chord by chord, against the reference pitch of each note, which other programs have found. σ is that of the reading and the reference together.

| recording | string | off, cents | σ | told |
|---|---|--:|--:|---|
%s`
