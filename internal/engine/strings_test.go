package engine

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"tunerd/internal/display"
	"tunerd/internal/ensemble"
	"tunerd/internal/targets"
)

// A choir is a chord tracker that hears the first string in tune, the second hidden and all others
// silent, in every block; a whole chord at the end.
type choir struct {
	strings []targets.Target
	onChord func(*ensemble.Chord)
	at      int64
}

func (c *choir) chord() *ensemble.Chord {
	all := make([]ensemble.StringReading, len(c.strings))
	all[0] = ensemble.StringReading{Sounding: true, F1Hz: c.strings[0].Hz, SigmaCents: 0.2, B: 5e-5, SNRdB: 30}
	all[1] = ensemble.StringReading{Hidden: true, F1Hz: c.strings[1].Hz, SigmaCents: 4}
	return &ensemble.Chord{At: c.at, End: c.at, WindowS: 1, LevelDB: -20, Strings: all}
}

func (c *choir) Push(samples []float64, start int64, emit func(*ensemble.Chord)) {
	c.at = start + int64(len(samples))
	if emit != nil {
		emit(c.chord())
	}
}

func (c *choir) Flush() {
	if c.onChord != nil {
		c.onChord(c.chord())
	}
}

// openGuitar is the guitar-12edo of the built-in instruments.
func openGuitar(t *testing.T) *targets.Resolver {
	t.Helper()
	in, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		t.Fatal(err)
	}
	r, err := targets.NewResolver(targets.ResolverConfig{Instrument: in})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func newChoir(_ float64, strings []targets.Target, onChord func(*ensemble.Chord)) (ChordTracker, error) {
	return &choir{strings: strings, onChord: onChord}, nil
}

func TestSessionOfAllStrings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := &script{name: "a.wav", rate: 48000, steps: blocks(3, 512)}
		shown := &roll{}
		s := NewSession(Config{Source: src, Resolver: openGuitar(t), Sinks: []Sink{shown}, Chords: newChoir})
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := shown.states(); !slices.Equal(got, []display.State{display.Sounding, display.Ended}) {
			t.Fatalf("states %v", got)
		}
		f := shown.frames[1]
		if !f.AllStrings || f.WindowS != 1 || len(f.Strings) != 6 {
			t.Fatalf("frame %+v", f)
		}
		var words []string
		for _, row := range f.Strings {
			words = append(words, row.Verdict)
		}
		if want := []string{"in tune", "hidden", "silent", "silent", "silent", "silent"}; !slices.Equal(words, want) {
			t.Errorf("strings are %v, want %v", words, want)
		}
		if row := f.Strings[0]; !row.Active || !row.Read || row.Sigma != 0.2 || math.Abs(row.Cents) > 1e-9 || row.AtS != 1024.0/48000 {
			t.Errorf("first string: %+v", row)
		}
		if row := f.Strings[1]; row.Active || row.Read || !row.Hidden {
			t.Errorf("second string: %+v", row)
		}
	})
}

// Without strings nothing is heard, and a message says why; with a new target the strings are its own.
func TestRetuneOfAllStrings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turn := make(chan struct{})
		src := &script{name: "mic", rate: 48000, steps: []step{{n: 512}, {n: 512, wait: turn}, {n: 512}}}
		shown := &roll{}
		none, err := targets.NewResolver(targets.ResolverConfig{})
		if err != nil {
			t.Fatal(err)
		}
		s := NewSession(Config{Source: src, Resolver: none, Sinks: []Sink{shown}, Chords: func(rate float64, open []targets.Target, on func(*ensemble.Chord)) (ChordTracker, error) {
			if len(open) == 0 {
				return nil, errors.New("no strings")
			}
			return newChoir(rate, open, on)
		}})
		done := make(chan error)
		go func() { done <- s.Run(t.Context()) }()
		synctest.Wait()
		s.Retune(TargetConfig{Resolver: openGuitar(t), Chords: newChoir})
		close(turn)
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if f := shown.frames[0]; f.State != display.Unsure || !strings.Contains(f.Message, "no strings") {
			t.Errorf("first frame %+v, want the reason why nothing is heard", f)
		}
		if f := shown.frames[len(shown.frames)-2]; f.State != display.Sounding || len(f.Strings) != 6 {
			t.Errorf("frame after the new target: %+v", f)
		}
	})
}

// A session turns from one note at a time to all strings and back, without a gap.
func TestRetuneBetweenOneAndAll(t *testing.T) {
	tracker := &parrot{reading: sounding(330)}
	shown := &roll{}
	s := NewSession(Config{
		Source: &script{name: "a.wav", rate: 48000, steps: blocks(6, 512)}, Resolver: openGuitar(t), Tracker: tracker, Sinks: []Sink{shown},
	})
	fresh := &parrot{reading: sounding(110)}
	tracker.before = func() {
		s.Retune(TargetConfig{Resolver: openGuitar(t), Chords: func(rate float64, open []targets.Target, on func(*ensemble.Chord)) (ChordTracker, error) {
			s.Retune(TargetConfig{Resolver: openGuitar(t), Tracker: fresh})
			return newChoir(rate, open, on)
		}})
	}
	if err := s.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	var all []bool
	for _, f := range shown.frames {
		if f.Gaps != 0 || f.AfterGap {
			t.Errorf("a gap at %g s", f.TimeS)
		}
		if len(all) == 0 || all[len(all)-1] != f.AllStrings {
			all = append(all, f.AllStrings)
		}
	}
	if !slices.Equal(all, []bool{false, true, false}) || tracker.pushed != 512 || fresh.pushed == 0 {
		t.Errorf("all strings in turn: %v; %d samples to the old tracker, %d to the new", all, tracker.pushed, fresh.pushed)
	}
}

func TestMeasureAllStrings(t *testing.T) {
	b := &bench{files: map[string]*script{"a": {rate: 48000, steps: blocks(2, 4096)}}}
	cfg := b.config(1)
	cfg.NewChords = newChoir
	cfg.NewResolver = func() (Resolver, error) { return openGuitar(t), nil }
	var notes []*Note
	cfg.Note = func(n *Note) error { notes = append(notes, n); return nil }
	if err := Measure(t.Context(), []string{"a"}, cfg); err != nil {
		t.Fatal(err)
	}
	if len(notes) != 6 {
		t.Fatalf("%d notes, want one for each of six strings", len(notes))
	}
	if n := notes[0]; n.Match.Verdict != "in tune" || n.Match.String != 1 || n.F1Hz != n.Match.Hz || n.End != 8192 {
		t.Errorf("first string: %+v", n)
	}
	if n := notes[1]; n.Match.Verdict != "hidden" || n.SigmaCents != 4 || !math.IsNaN(n.B) {
		t.Errorf("hidden string: %+v", n)
	}
	if n := notes[5]; n.Match.Verdict != "silent" || n.Match.Label != "E2" || !math.IsNaN(n.F1Hz) || !math.IsNaN(n.Match.Cents) {
		t.Errorf("silent string: %+v", n)
	}
}
