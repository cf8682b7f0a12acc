package evidence

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

// TestPraatReadsTheTones has Praat read rendered tones and chords back. Periodic tones it reads to
// some thousandths of a cent; a pure chord of organ tones repeats with the period of its root, and
// goes on doing so when it is driven, as all that drive adds lies in the same series.
func TestPraatReadsTheTones(t *testing.T) {
	testkit.NeedTool(t, "praat", "praat")
	for _, tc := range []struct {
		name  string
		chord sound.Chord
		drive *sound.Drive
		want  float64
	}{
		{"sine", tones(sound.SineTimbre, 440*1.05), nil, 440 * 1.05},
		{"organ", tones(sound.OrganTimbre, 97.3), nil, 97.3},
		{"organ, driven", tones(sound.OrganTimbre, 97.3), &sound.Drive{GainDB: 24, Bias: sound.DefaultBias}, 97.3},
		{"4:5:6", tones(sound.OrganTimbre, 4*101, 5*101, 6*101), nil, 101},
		{"4:5:6:7, driven", tones(sound.OrganTimbre, 4*83.2, 5*83.2, 6*83.2, 7*83.2), &sound.Drive{GainDB: 18, Bias: sound.DefaultBias}, 83.2},
	} {
		path := filepath.Join(t.TempDir(), "tone.wav")
		writeProgram(t, path, sound.Program{Chords: []sound.Chord{tc.chord}, Drive: tc.drive, PeakDB: -12})
		out := run(t, "praat", "--run", "testdata/pitch.praat", path, number(60), number(700), number(0.5), number(1.5))
		got, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			t.Fatalf("%s: praat says %q", tc.name, out)
		}
		t.Logf("%-16s %9.4f Hz, Praat %9.4f Hz, %+.4f cents", tc.name, tc.want, got, cents(got, tc.want))
		if off := cents(got, tc.want); off > 0.05 || off < -0.05 {
			t.Errorf("%s: Praat reads %.4f Hz, %+.3f cents from %.4f", tc.name, got, off, tc.want)
		}
	}
}

// tones is two seconds of tones.
func tones(timbre sound.Timbre, hz ...float64) sound.Chord {
	c := sound.Chord{Timbre: timbre, Seconds: 2}
	for _, f := range hz {
		c.Notes = append(c.Notes, sound.ChordNote{Hz: f})
	}
	return c
}

func writeProgram(t *testing.T, path string, p sound.Program) {
	t.Helper()
	samples, _, err := p.Render(48000, rand.New(rand.NewPCG(1, 1)))
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := sound.WriteWAV(f, samples, 48000, sound.PCM24); err != nil {
		t.Fatal(err)
	}
}
