package ensemble

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// strum returns seconds of sound in which the strings hz are plucked one after another, gap apart,
// at each of the times.
func strum(hz []float64, rate, seconds, gap float64, at ...float64) []float64 {
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, int(seconds*rate))
	for _, t := range at {
		for i, f := range hz {
			s := sound.String(f)
			s.Peak = 0.1
			s.ScatterCents = 0.3
			s.AddTo(x, int((t+float64(i)*gap)*rate), rate, rng)
		}
	}
	for i := range x {
		x[i] += 1e-5 * rng.NormFloat64()
	}
	return x
}

func targetsOf(hz []float64) []String {
	var s []String
	for i, f := range hz {
		s = append(s, String{Number: i + 1, Hz: f})
	}
	return s
}

func newTracker(t testing.TB, cfg TrackerConfig) *Tracker {
	t.Helper()
	tracker, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return tracker
}

// TestStream reads a strum live, in blocks of odd lengths: at least five readings a second, every
// string within 1 cent of what it was made of, nothing before it, and the same readings for every
// length of block.
func TestStream(t *testing.T) {
	const rate = 48000.0
	hz := []float64{329.63, 246.94, 196, 146.83, 110, 82.41}
	x := strum(hz, rate, 3, 0.03, 0.5)
	var first []float64
	for _, block := range []int{1, 479, 4096} {
		tracker := newTracker(t, TrackerConfig{Config: Config{SampleRate: rate, Strings: targetsOf(hz)}, Live: true})
		var readings, last int
		var seen []float64
		for at := 0; at < len(x); at += block {
			tracker.Push(x[at:min(at+block, len(x))], int64(at), func(c *Chord) {
				if c.Silent || len(c.Strings) == 0 {
					return
				}
				if c.At < int64(0.5*rate) {
					t.Errorf("block %d: a reading at %d, before the strum", block, c.At)
				}
				if gap := int(c.At) - last; readings > 0 && gap > int(rate/5) {
					t.Errorf("block %d: %d samples from reading to reading", block, gap)
				}
				last = int(c.At)
				readings++
				for i, r := range c.Strings {
					seen = append(seen, r.Cents)
					if off := math.Abs(r.Cents - stiffstring.CentsPerNeper*math.Log(hz[i]/r.String.Hz)); c.WindowS > 0.9 && (!r.Sounding || off > 1) {
						t.Errorf("block %d, %.2f s: string %d sounding %v, %+.2f cents", block, float64(c.At)/rate, i+1, r.Sounding, r.Cents)
					}
				}
			})
		}
		if readings < 12 {
			t.Errorf("block %d: %d readings", block, readings)
		}
		if first == nil {
			first = seen
		}
		for i := range min(len(first), len(seen)) {
			if first[i] != seen[i] {
				t.Fatalf("block %d: reading %d is %g, with blocks of 1 it is %g", block, i, seen[i], first[i])
			}
		}
	}
}

// TestChordByChord reads a recording of two strums, the second of half the strings.
func TestChordByChord(t *testing.T) {
	const rate = 44100.0
	hz := []float64{196, 293.66, 440}
	x := strum(hz, rate, 6, 0.05, 0.2)
	for i, v := range strum(hz[:2], rate, 6, 0.05, 3) {
		if i >= int(2.9*rate) {
			x[i] *= math.Exp(-float64(i-int(2.9*rate)) / (0.01 * rate)) // a hand stops the first strum
		}
		x[i] += v
	}
	var starts []float64
	var sounding [][]bool
	tracker := newTracker(t, TrackerConfig{
		Config: Config{SampleRate: rate, Strings: targetsOf(hz)},
		OnChord: func(c *Chord) {
			starts = append(starts, float64(c.Onset)/rate)
			var s []bool
			for _, r := range c.Strings {
				s = append(s, r.Sounding)
			}
			sounding = append(sounding, s)
		},
	})
	tracker.Push(x, 0, nil)
	tracker.Flush()
	if len(starts) != 2 || math.Abs(starts[0]-0.2) > 0.12 || math.Abs(starts[1]-3) > 0.07 {
		t.Fatalf("chords begin at %.3f s, want 0.2 and 3", starts)
	}
	for i, want := range [][]bool{{true, true, true}, {true, true, false}} {
		for j := range want {
			if sounding[i][j] != want[j] {
				t.Errorf("chord %d: sounding %v, want %v", i+1, sounding[i], want)
				break
			}
		}
	}
}

// TestGap loses samples in the middle of a chord: the tracker begins afresh and says so.
func TestGap(t *testing.T) {
	const rate = 48000.0
	hz := []float64{196, 293.66}
	x := strum(hz, rate, 4, 0, 0.1)
	tracker := newTracker(t, TrackerConfig{Config: Config{SampleRate: rate, Strings: targetsOf(hz)}, Live: true})
	told := 0
	emit := func(c *Chord) {
		if c.AfterGap {
			told++
			if c.At < int64(2.1*rate) || c.At > int64(2.3*rate) {
				t.Errorf("the gap at 2 to 2.1 s is told at %.2f s", float64(c.At)/rate)
			}
		}
		if float64(c.At)/rate > 2.1 && c.WindowS > float64(c.At)/rate-2.1 {
			t.Errorf("at %.2f s a window of %.2f s reaches over the gap", float64(c.At)/rate, c.WindowS)
		}
	}
	tracker.Push(x[:int(2*rate)], 0, emit)
	tracker.Push(x[int(2.1*rate):], int64(2.1*rate), emit)
	if told != 1 {
		t.Errorf("the gap was told %d times", told)
	}
}

// TestNoAllocation holds the live path to none in steady state.
func TestNoAllocation(t *testing.T) {
	const rate = 48000.0
	hz := []float64{329.63, 246.94, 196, 146.83, 110, 82.41}
	x := strum(hz, rate, 4, 0.03, 0.1, 2)
	tracker := newTracker(t, TrackerConfig{Config: Config{SampleRate: rate, Strings: targetsOf(hz)}, Live: true})
	start := int64(0)
	emit := func(*Chord) {}
	run := func() {
		for at := 0; at < len(x); at += 512 {
			block := x[at:min(at+512, len(x))]
			tracker.Push(block, start, emit)
			start += int64(len(block))
		}
	}
	run()
	if n := testing.AllocsPerRun(2, run); n > 0 {
		t.Errorf("%g allocations in 4 s of sound, want none", n)
	}
}

// BenchmarkLive reads a ringing chord live; one op is a second of sound.
func BenchmarkLive(b *testing.B) {
	const rate = 48000.0
	hz := []float64{329.63, 246.94, 196, 146.83, 110, 82.41}
	x := strum(hz, rate, 5, 0.03, 0.1)
	x = x[int(rate) : 5*int(rate)]
	tracker := newTracker(b, TrackerConfig{Config: Config{SampleRate: rate, Strings: targetsOf(hz)}, Live: true})
	start := int64(0)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		second := x[i%4*int(rate):][:int(rate)]
		for at := 0; at < len(second); at += 480 {
			tracker.Push(second[at:at+480], start, func(*Chord) {})
			start += 480
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
