package engine_test

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
	"tunerd/internal/testkit"
)

var recordings = testkit.WAVDir()

// A heard note is what a session showed of a note two seconds after its onset, or at its end if
// that came first.
type heard struct {
	onset, hz, cents float64
	label            string
	frames           int // until its end
}

// A listener is a sink that keeps every note.
type listener struct {
	notes []heard
	last  display.Frame
}

func (l *listener) Show(f *display.Frame) error {
	l.last = *f
	if f.State != display.Sounding {
		return nil
	}
	if len(l.notes) == 0 || l.notes[len(l.notes)-1].onset != f.OnsetS {
		l.notes = append(l.notes, heard{onset: f.OnsetS})
	}
	n := &l.notes[len(l.notes)-1]
	n.frames++
	if f.TimeS <= f.OnsetS+2 {
		n.hz, n.cents, n.label = f.F1Hz, f.Cents, f.Target.Label
	}
	return nil
}

// session returns a session of the real stages, in 12 equal steps at A4=440 Hz.
func session(tb testing.TB, source capture.Source, blockLen int, sinks ...engine.Sink) *engine.Session {
	tb.Helper()
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: float64(source.SampleRate()), Live: true})
	if err != nil {
		tb.Fatal(err)
	}
	resolver, err := targets.NewResolver(targets.ResolverConfig{})
	if err != nil {
		tb.Fatal(err)
	}
	return engine.NewSession(engine.Config{
		Source: source, Tracker: tracker, Resolver: resolver, BlockLen: blockLen, Sinks: sinks,
	})
}

func open(tb testing.TB, file string, o capture.Options) capture.Source {
	tb.Helper()
	source, err := capture.Open(context.Background(), filepath.Join(recordings, file), o)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { source.Close() })
	return source
}

// The size of the blocks that samples come in says nothing about the sound.
func TestBlockSizeChangesNothing(t *testing.T) {
	for _, file := range []string{"strat-B-Gs4.flac", "cello-G2.flac"} {
		t.Run(file, func(t *testing.T) {
			var want []heard
			for _, blockLen := range []int{4096, 479, 1} {
				var got listener
				if err := session(t, open(t, file, capture.Options{}), blockLen, &got).Run(t.Context()); err != nil {
					t.Fatal(err)
				}
				if want == nil {
					want = got.notes
					checkAgainstReference(t, file, want)
				}
				if !slices.Equal(got.notes, want) {
					t.Errorf("blocks of %d: notes %+v\nblocks of 4096: %+v", blockLen, got.notes, want)
				}
			}
		})
	}
}

// checkAgainstReference wants the recorded note to be among what was heard. How near a reading is
// to its reference is for the tests of pitch; 5 cents are a right note read from a right clock.
func checkAgainstReference(t *testing.T, file string, notes []heard) {
	t.Helper()
	ref := testkit.ReferenceHz(t, file)
	if len(notes) == 0 {
		t.Fatal("no note heard")
	}
	if off := 1200 * math.Log2(notes[0].hz/ref); math.Abs(off) > 5 {
		t.Errorf("heard %.4f Hz, %+.2f cents from the reference %.4f Hz", notes[0].hz, off, ref)
	}
}

// BenchmarkListen is the whole live path but the display: seconds of sound a second of one core.
func BenchmarkListen(b *testing.B) {
	const file = "strat-B-Gs4.flac"
	b.ReportAllocs()
	var sound float64
	for b.Loop() {
		var l listener
		if err := session(b, open(b, file, capture.Options{}), 0, &l).Run(b.Context()); err != nil {
			b.Fatal(err)
		}
		sound += l.last.TimeS
	}
	b.ReportMetric(sound/b.Elapsed().Seconds(), "x-realtime")
}

// BenchmarkLatency plays a recording at its own speed and reports the time from the arrival of
// the newest sample of a reading to its frame. The test of the virtual microphone does the same
// behind a sound card.
func BenchmarkLatency(b *testing.B) {
	var last engine.Latency
	for b.Loop() {
		s := session(b, open(b, "strat-B-Gs4.flac", capture.Options{Paced: true}), 0, &listener{})
		if err := s.Run(b.Context()); err != nil {
			b.Fatal(err)
		}
		last = s.Latency()
	}
	b.ReportMetric(milliseconds(last.Median), "median-ms")
	b.ReportMetric(milliseconds(last.P99), "p99-ms")
}

func milliseconds(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
