package evidence

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"tunerd/internal/mts"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
	"tunerd/internal/testkit"
)

// soundFont is the General MIDI sound font of Debian's package fluid-soundfont-gm.
const soundFont = "/usr/share/sounds/sf2/FluidR3_GM.sf2"

// The notes that the synthesiser plays: the open strings of a guitar and one above, on its
// steel guitar (General MIDI program 26, counted from 1).
var (
	playedKeys    = []int{40, 45, 50, 55, 59, 64, 69}
	playedProgram = byte(25)
)

const (
	playedRate    = 48000
	noteSeconds   = 3
	pauseSeconds  = 1
	windowFrom    = 0.3 // seconds after the onset that the pitch is read over
	windowSeconds = 2.5
)

// TestSynthesiserPlaysTheTuning gives another program's synthesiser a tuning by single note
// changes, and reads the notes back. The sound font has errors of its own of some cents, so each
// note is compared with the same note untuned. That synthesiser cuts pitches to whole cents; what
// it was told, cut so, must come back within 0.1 cent.
func TestSynthesiserPlaysTheTuning(t *testing.T) {
	testkit.NeedTool(t, "fluidsynth", "fluidsynth")
	needSoundFont(t)
	untuned := renderNotes(t, nil)
	for _, spec := range []string{"12edo", "41edo", "quarter-comma-meantone", "13ed3"} {
		tuning, err := targets.ParseTuning(spec)
		if err != nil {
			t.Fatal(err)
		}
		keys, err := mts.KeysOf(tuning, mts.Layout{Nearest: true})
		if err != nil {
			t.Fatal(err)
		}
		moved := 0.0
		for i, hz := range renderNotes(t, &keys) {
			key := playedKeys[i]
			told := 100 * (keys[key].Key() - float64(key))
			want := math.Floor(told + 1e-9)
			got := cents(hz, untuned[i])
			t.Logf("%s key %d: told %+.3f cents, cut %+.0f, read %+.3f", spec, key, told, want, got)
			if !(math.Abs(got-want) <= 0.1) {
				t.Errorf("%s: key %d sounds %+.3f cents from its untuned pitch, told %+.3f", spec, key, got, told)
			}
			moved = max(moved, math.Abs(told))
		}
		if spec != "12edo" && moved < 4 {
			t.Errorf("%s moves no key by 4 cents: nothing is tested", spec)
		}
	}
}

func needSoundFont(t *testing.T) {
	t.Helper()
	_, err := os.Stat(soundFont)
	switch {
	case err == nil:
	case os.Getenv("TUNERD_CI") == "1":
		t.Fatalf("%s is missing (Debian package fluid-soundfont-gm)", soundFont)
	default:
		t.Skipf("%s is missing (Debian package fluid-soundfont-gm)", soundFont)
	}
}

// renderNotes plays playedKeys one after the other, tuned if keys are given, and returns their
// pitches in Hz.
func renderNotes(t *testing.T, keys *[128]mts.Pitch) []float64 {
	t.Helper()
	dir := t.TempDir()
	score, sound := filepath.Join(dir, "score.mid"), filepath.Join(dir, "sound.wav")
	if err := os.WriteFile(score, mts.AppendSMF(nil, scoreEvents(t, keys)), 0o666); err != nil {
		t.Fatal(err)
	}
	run(t, "fluidsynth", "-ni", "-q", "-g", "0.6", "-R", "0", "-C", "0", "-r", "48000", "-O", "float", "-T", "raw", "-F", sound, soundFont, score)
	samples := readFloats(t, sound)
	estimator, err := pitch.NewWindowEstimator(playedRate)
	if err != nil {
		t.Fatal(err)
	}
	var found []float64
	for i, key := range playedKeys {
		from := int((float64(i*(noteSeconds+pauseSeconds)) + pauseSeconds + windowFrom) * playedRate)
		nominal := mts.KeyHz(float64(key))
		reading, ok := estimator.Estimate(samples[from:from+int(windowSeconds*playedRate)], nominal/1.12, nominal*1.12)
		if !ok {
			t.Fatalf("no pitch in the note of key %d", key)
		}
		found = append(found, reading.F1Hz)
	}
	return found
}

func scoreEvents(t *testing.T, keys *[128]mts.Pitch) []mts.Event {
	var events []mts.Event
	if keys != nil {
		for _, m := range mts.AllNotes(mts.NoteChanges{Device: mts.AllDevices, RealTime: true, Bank: mts.NoBank}, *keys) {
			b, err := mts.Encode(m)
			if err != nil {
				t.Fatal(err)
			}
			events = append(events, mts.Event{Data: b})
		}
		events = append(events, mts.SelectTuning(0, 0, 0)...)
	}
	events = append(events, mts.Event{Data: []byte{0xc0, playedProgram}})
	for _, key := range playedKeys {
		events = append(events,
			mts.Event{Ticks: pauseSeconds * mts.TicksPerSecond, Data: []byte{0x90, byte(key), 100}},
			mts.Event{Ticks: noteSeconds * mts.TicksPerSecond, Data: []byte{0x80, byte(key), 0}})
	}
	return append(events, mts.Event{Ticks: pauseSeconds * mts.TicksPerSecond, Data: []byte{0xb0, 120, 0}})
}

// readFloats reads bare stereo samples of 32-bit floats and returns the left channel.
func readFloats(t *testing.T, path string) []float64 {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	frames := make([][2]float32, len(data)/8)
	if err := binary.Read(bytes.NewReader(data), binary.LittleEndian, frames); err != nil {
		t.Fatal(err)
	}
	left := make([]float64, len(frames))
	for i, f := range frames {
		left[i] = float64(f[0])
	}
	return left
}
