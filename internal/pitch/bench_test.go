package pitch

import (
	"fmt"
	"testing"

	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/sound"
)

// realtime reports how many times faster than the sound a benchmark ran that covers samples in
// each turn.
func realtime(b *testing.B, samples int) {
	b.ReportMetric(float64(b.N)*float64(samples)/testRate/b.Elapsed().Seconds(), "x-realtime")
}

// benchString returns seconds of a string of hz that was plucked at 0.2 s.
func benchString(hz, seconds float64) []float64 {
	s := newScene(seconds, testRate, -70, newRand(1))
	s.pluck(sound.String(hz), 0.2, -20, newRand(2))
	return s.x
}

func benchTracker(b *testing.B, live bool) {
	for _, hz := range []float64{41.203, 110, 329.628} {
		b.Run(fmt.Sprintf("hz=%.0f", hz), func(b *testing.B) {
			x := benchString(hz, 10)
			b.ReportAllocs()
			for b.Loop() {
				tracker, err := NewTracker(Config{SampleRate: testRate, Live: live, OnNote: func(*Note) {}})
				if err != nil {
					b.Fatal(err)
				}
				for i := 0; i+512 <= len(x); i += 512 {
					tracker.Push(x[i:i+512], int64(i), func(*Reading) {})
				}
				tracker.Flush()
			}
			realtime(b, len(x))
		})
	}
}

func BenchmarkLive(b *testing.B)    { benchTracker(b, true) }
func BenchmarkMeasure(b *testing.B) { benchTracker(b, false) }

// One joint fit of a second of sound whose pitch is known, as in the middle of a live note.
func BenchmarkFit(b *testing.B) {
	for _, partials := range []int{livePartials, stringfit.MaxPartials} {
		b.Run(fmt.Sprintf("partials=%d", partials), func(b *testing.B) {
			x := benchString(110, 1.5)[24000:72000]
			e, err := NewWindowEstimator(testRate)
			if err != nil {
				b.Fatal(err)
			}
			f := &e.once
			f.Partials = partials
			if _, ok := e.Around(x, 110, acquire.GuessSigma); !ok {
				b.Fatal("no fit")
			}
			b.ReportAllocs()
			for b.Loop() {
				f.Follow(0, f.Bank.N, f.Learned(f.Start.Prior), stringfit.Steady, 0, 1)
			}
			realtime(b, len(x))
		})
	}
}

func BenchmarkYIN(b *testing.B) {
	for _, n := range []int{2048, 8192} {
		b.Run(fmt.Sprintf("samples=%d", n), func(b *testing.B) {
			x := benchString(110, 1)[24000 : 24000+n]
			var y acquire.Yin
			b.ReportAllocs()
			for b.Loop() {
				y.Find(x, testRate, 3.2*testRate/float64(n), 5000)
			}
		})
	}
}
