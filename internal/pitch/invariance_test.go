package pitch_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"tunerd/internal/pitch"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// What holds of any tracker, seen from outside: a pitch is a ratio of frequencies, and neither the
// gain nor the time of day changes it.

const (
	rate = 48000.0 // Hz
	seed = 11
)

// A scene is a string plucked over faint noise.
type scene struct {
	spec    sound.StringSpec
	pluckAt int // samples
	seconds float64
	noiseDB float64 // re full scale
	stream  uint64
}

func (s scene) render() []float64 {
	rng := rand.New(rand.NewPCG(seed, s.stream))
	x := make([]float64, int(s.seconds*rate))
	v := s.spec.Voice(rate, rng)
	v.Gain = 0.1 / v.RMS()
	v.Add(x, -float64(s.pluckAt)/rate)
	sigma := math.Pow(10, s.noiseDB/20)
	for i := range x {
		x[i] += sigma * rng.NormFloat64()
	}
	return x
}

// A hearing is what a tracker said of a scene.
type hearing struct {
	readings []pitch.Reading
	notes    []pitch.Note
}

// listen gives x, whose first sample has index start, to a tracker.
func listen(t rapid.TB, cfg pitch.Config, x []float64, start int64) hearing {
	t.Helper()
	var h hearing
	cfg.SampleRate = rate
	cfg.OnNote = func(n *pitch.Note) {
		kept := *n
		kept.Partials = slices.Clone(n.Partials)
		h.notes = append(h.notes, kept)
	}
	tracker, err := pitch.NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(x); at += 480 {
		tracker.Push(x[at:min(at+480, len(x))], start+int64(at), func(r *pitch.Reading) {
			kept := *r
			kept.Partials = slices.Clone(r.Partials)
			h.readings = append(h.readings, kept)
		})
	}
	tracker.Flush()
	return h
}

// note is the one note of a scene.
func (h hearing) note(t rapid.TB) pitch.Note {
	t.Helper()
	if len(h.notes) != 1 {
		t.Fatalf("%d notes, want 1: %+v", len(h.notes), h.notes)
	}
	return h.notes[0]
}

func drawScene(t *rapid.T) scene {
	hz := math.Exp(rapid.Float64Range(math.Log(30), math.Log(1200)).Draw(t, "ln f1"))
	spec := sound.String(hz)
	spec.B *= rapid.Float64Range(0, 2).Draw(t, "stiffness")
	spec.Pluck = rapid.Float64Range(0.05, 0.3).Draw(t, "pluck")
	return scene{
		spec: spec, pluckAt: 14400 + rapid.IntRange(0, 2047).Draw(t, "pluck at"), seconds: 0.9,
		noiseDB: rapid.Float64Range(-80, -60).Draw(t, "noise"), stream: rapid.Uint64().Draw(t, "stream"),
	}
}

// All frequencies higher by an interval: the reading is higher by the interval.
func TestIntervalsAreKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := drawScene(t)
		high := low
		up := rapid.Float64Range(-1200, 1200).Draw(t, "interval")
		high.spec.F1Hz *= math.Exp2(up / 1200)
		if high.spec.F1Hz < 30 {
			t.Skip("too low")
		}
		a, b := listen(t, pitch.Config{}, low.render(), 0).note(t), listen(t, pitch.Config{}, high.render(), 0).note(t)
		got := stiffstring.Cents(b.F1Hz, a.F1Hz)
		if within := 5*math.Hypot(a.SigmaCents, b.SigmaCents) + 0.01; !(math.Abs(got-up) <= within) {
			t.Fatalf("%g Hz and %+.3f cents from it are read %+.3f cents apart, want within %.3f", low.spec.F1Hz, up, got, within)
		}
	})
}

// The same sound louder or fainter: the same pitch at another level.
func TestGainChangesLevelsOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScene(t)
		gainDB := rapid.Float64Range(-30, 30).Draw(t, "gain")
		x := s.render()
		want := listen(t, pitch.Config{}, x, 0).note(t)
		for i := range x {
			x[i] *= math.Pow(10, gainDB/20)
		}
		got := listen(t, pitch.Config{}, x, 0).note(t)
		// Nothing but rounding differs; a fit may stop a step sooner, a tenth of σ.
		if off := stiffstring.Cents(got.F1Hz, want.F1Hz); math.Abs(off) > 0.1*want.SigmaCents+1e-6 {
			t.Errorf("%g Hz, %+.1f dB: %+.3g cents apart, σ %.3g", s.spec.F1Hz, gainDB, off, want.SigmaCents)
		}
		if math.Abs(got.LevelDB-want.LevelDB-gainDB) > 0.01 {
			t.Errorf("%g Hz, %+.1f dB: level %.2f dB, was %.2f", s.spec.F1Hz, gainDB, got.LevelDB, want.LevelDB)
		}
		if got.Start != want.Start || got.End != want.End || len(got.Partials) != len(want.Partials) {
			t.Errorf("%g Hz, %+.1f dB: samples %d–%d, %d partials; was %d–%d, %d", s.spec.F1Hz, gainDB,
				got.Start, got.End, len(got.Partials), want.Start, want.End, len(want.Partials))
		}
	})
}

// The same samples counted from another index: the same readings.
func TestSampleIndexIsOnlyAName(t *testing.T) {
	for i, hz := range []float64{30.868, 82.407, 196, 440, 1046.5} {
		x := scene{spec: sound.String(hz), pluckAt: 15000, seconds: 1, noiseDB: -70, stream: uint64(i)}.render()
		early := listen(t, pitch.Config{Live: true}, x, 0)
		for _, start := range []int64{1, 511, 48000 * 86400, 1 << 40} {
			late := listen(t, pitch.Config{Live: true}, x, start)
			if len(early.readings) != len(late.readings) || len(early.notes) != len(late.notes) {
				t.Fatalf("%d readings and %d notes, from %d on %d and %d", len(early.readings), len(early.notes), start, len(late.readings), len(late.notes))
			}
			for i, a := range early.readings {
				b := late.readings[i]
				if b.At-a.At != start || a.State != b.State || a.State != pitch.Silent && b.Onset-a.Onset != start {
					t.Fatalf("reading %d at %d, %d: onset %d, %d, state %v, %v", i, a.At, b.At, a.Onset, b.Onset, a.State, b.State)
				}
				if off := math.Abs(stiffstring.Cents(b.F1Hz, a.F1Hz)); off > 1e-6+0.01*a.SigmaCents {
					t.Fatalf("reading at %d: %.9g Hz, %d samples later %.9g", a.At, a.F1Hz, start, b.F1Hz)
				}
			}
		}
	}
}

// A pluck some samples later within its hop is the same note.
func TestPluckMayFallAnywhereInAHop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScene(t)
		later := s
		later.pluckAt += rapid.IntRange(1, 1024).Draw(t, "later")
		a, b := listen(t, pitch.Config{}, s.render(), 0).note(t), listen(t, pitch.Config{}, later.render(), 0).note(t)
		if off, within := stiffstring.Cents(b.F1Hz, a.F1Hz), 5*math.Hypot(a.SigmaCents, b.SigmaCents)+0.005; !(math.Abs(off) <= within) {
			t.Errorf("%g Hz: %+.4f cents apart, want within %.4f", s.spec.F1Hz, off, within)
		}
		moved := float64(later.pluckAt - s.pluckAt)
		if off := math.Abs(float64(b.Start-a.Start) - moved); off > 0.03*rate {
			t.Errorf("%g Hz: %g samples later the onset is %d later", s.spec.F1Hz, moved, b.Start-a.Start)
		}
	})
}
