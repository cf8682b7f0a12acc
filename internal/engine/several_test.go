package engine

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
	"tunerd/internal/targets"
)

// play returns what a session with a real tracker shows of synthetic strings plucked nearly together,
// from half a second after the pluck on.
func play(t *testing.T, cfg Config, hz ...float64) []display.Frame {
	t.Helper()
	const rate = 48000
	x := make([]float64, 3*rate)
	rng := rand.New(rand.NewPCG(1, 2))
	for i, f := range hz {
		s := sound.String(f)
		s.AddTo(x, rate/2+300*i, rate, rng)
	}
	for i := range x {
		x[i] /= 4
	}
	src := &script{name: "a.wav", rate: rate, sound: x}
	for n := 0; n < len(x); n += 512 {
		src.steps = append(src.steps, step{n: min(512, len(x)-n)})
	}
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
	if err != nil {
		t.Fatal(err)
	}
	all := &roll{}
	cfg.Source, cfg.Tracker, cfg.Sinks = src, tracker, []Sink{all}
	if err := NewSession(cfg).Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	for i := range all.frames {
		if all.frames[i].TimeS > 1 {
			return all.frames[i : len(all.frames)-1] // the last says that the input has ended
		}
	}
	t.Fatal("nothing is shown")
	return nil
}

// sounds reports whether a frame reads one of the strings that sound, to within its uncertainty.
func sounds(f *display.Frame, hz []float64) bool {
	return slices.ContainsFunc(hz, func(hz float64) bool {
		return math.Abs(stiffstring.Cents(f.F1Hz, hz)) < max(1, 3*f.SigmaCents)
	})
}

// Several strings where one is expected are no note an octave or two below them: they are said to be
// several, or one that does sound is read. A string by itself is none of that, wherever it was plucked.
func TestSeveralNotesAreNoNote(t *testing.T) {
	twelve, err := targets.NewResolver(targets.ResolverConfig{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		resolver Resolver
		pair     *BeatWatch
		hz       []float64
		several  bool
	}{
		{"A2 E3", twelve, nil, []float64{110, 164.81}, true},
		{"D3 G3", twelve, nil, []float64{146.83, 196}, true},
		{"E minor", twelve, nil, []float64{82.41, 123.47, 164.81, 196, 246.94, 329.63}, true},
		{"A2 E3 of a guitar, as a pair", openGuitar(t), &BeatWatch{Meter: &fakeMeter{}, Lower: "A2", Upper: "E3", LowerHz: 110, UpperHz: 164.81, SampleRate: 48000}, []float64{110, 164.81}, true},
		{"A2 and D3 of a guitar", openGuitar(t), nil, []float64{110, 146.83}, true},
		{"E2", openGuitar(t), nil, []float64{82.41}, false},
		{"B1", twelve, nil, []float64{61.7}, false},
		{"A4", twelve, nil, []float64{440}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			frames := play(t, Config{Resolver: c.resolver, Beats: c.pair}, c.hz...)
			several, sounding, invented := 0, 0, 0
			for i := range frames {
				switch f := &frames[i]; f.State {
				case display.Several:
					several++
				case display.Sounding:
					sounding++
					if !sounds(f, c.hz) {
						invented++
					}
				}
				if strings.Contains(frames[i].Message, "--") || strings.Contains(frames[i].Message, "key") {
					t.Errorf("%q is how one view is used, and said to all", frames[i].Message)
				}
			}
			if c.several && (several+sounding < len(frames)/2 || invented > 0) || !c.several && (several > 0 || sounding < len(frames)/2) {
				t.Errorf("%d of %d frames say several notes, %d one pitch, %d of them one that does not sound", several, len(frames), sounding, invented)
			}
		})
	}
}

// A string that lacks partials because of where it was plucked is one note.
func TestOneStringIsNotSeveralNotes(t *testing.T) {
	for _, missing := range [][]int{{1}, {7}, {1, 7}, {5, 10}, {1, 2, 3}, {11}, {2, 4, 6, 8, 10, 12}} {
		var partials []pitch.Partial
		for n := 1; n <= 14; n++ {
			lacks := false
			for _, m := range missing {
				lacks = lacks || m == n
			}
			if !lacks {
				partials = append(partials, pitch.Partial{N: n})
			}
		}
		if chordLike(partials) {
			t.Errorf("a string without partials %v is taken for several notes", missing)
		}
	}
}
