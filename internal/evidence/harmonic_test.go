package evidence

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

const harmonicSeed = 5

// praatRaster is how far, in cents, Praat's interpolated lag may lie from a period.
const praatRaster = 0.02

// TestHarmonicTones gives tones without stiffness, which do have a period, to tunerd and to readers
// that look for one, from the lowest A of a piano nearly to its highest C: there all must read the same
// pitch, the one that was synthesised. aubio's figures are shown only: it finds a lag of whole samples by a
// parabola, which is cents off for high notes, and sometimes two periods.
func TestHarmonicTones(t *testing.T) {
	testkit.NeedTool(t, "praat", "praat")
	testkit.NeedTool(t, "aubiopitch", "aubio-tools")
	var table bytes.Buffer
	fmt.Fprintf(&table, "%10s %12s %12s %12s\n", "Hz", "tunerd c", "Praat c", "aubio yin c")
	for _, midi := range []int{21, 28, 40, 52, 64, 76, 88, 96, 103, 107} {
		c := harmonicClip(t, midi)
		m, err := measure(c)
		if err != nil {
			t.Fatal(err)
		}
		praat, aubio := cents(readPraat(t, c), c.RefHz), cents(readAubio("yinfast")(t, c), c.RefHz)
		fmt.Fprintf(&table, "%10.3f %+12.4f %+12.4f %+12.3f\n", c.RefHz, m.errorCents(), praat, aubio)
		if !(math.Abs(m.errorCents()) <= 4*m.note.SigmaCents+0.001) {
			t.Errorf("%.3f Hz, seed %d: tunerd reads %+.4f ± %.4f cents off", c.RefHz, harmonicSeed, m.errorCents(), m.note.SigmaCents)
		}
		if !(math.Abs(praat) <= praatRaster) {
			t.Errorf("%.3f Hz, seed %d: Praat reads %+.4f cents off what was synthesised", c.RefHz, harmonicSeed, praat)
		}
	}
	t.Logf("\n%s", &table)
}

// harmonicClip writes a steady tone of exact harmonics and says what it is.
func harmonicClip(t *testing.T, midi int) clip {
	t.Helper()
	const rate = 48000
	hz := 440 * math.Exp2((float64(midi)-69)/12)
	s := sound.String(hz)
	s.B, s.T60, s.SNRdB, s.StartS = 0, 20, 60, -0.2
	x := make([]float64, 2*rate)
	s.Render(x, rate, rand.New(rand.NewPCG(harmonicSeed, uint64(midi))))
	c := clip{Recording: testkit.Recording{File: filepath.Join(t.TempDir(), fmt.Sprintf("%d.wav", midi)), Midi: midi, RefHz: hz, Attack: 0.2, From: 0.5, To: 1.9}}
	f, err := os.Create(c.File)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := sound.WriteWAV(f, x, rate, sound.Float32); err != nil {
		t.Fatal(err)
	}
	return c
}
