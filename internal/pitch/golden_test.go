package pitch_test

import (
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"hash"
	"hash/fnv"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

var update = flag.Bool("update", false, "write testdata/golden.txt anew")

// goldenFile holds a line a clip and way of listening: the hash of the bits of every reading and note, and
// a few figures by which a difference can be looked at. Its first line says on what arithmetic it was made.
const goldenFile = "testdata/golden.txt"

const (
	goldenPlucks = 200
	goldenRate   = 48000
	goldenBlock  = 1024 // samples
	goldenSeed   = 20
)

// TestGolden keeps every reading as it was, bit for bit: of the recordings, the demo and synthetic plucks, live
// and as whole notes. A change that moves bits on purpose says so in its commit and writes the file anew:
//
//	go test ./internal/pitch -run Golden -update
//
// Bits depend on the instruction set (a compiler may join a product and a sum into one rounding, and some
// functions of package math have versions in assembly). On another arithmetic than that of the file the
// figures alone are compared, each pitch to within its own σ.
func TestGolden(t *testing.T) {
	want, madeOn := readGolden(t)
	var clips []goldenClip
	clips = append(clips, recordedClips(t)...)
	clips = append(clips, goldenClip{name: "demo", rate: goldenRate, load: demo})
	for i := range goldenPlucks {
		clips = append(clips, goldenClip{name: fmt.Sprintf("pluck-%03d", i), rate: goldenRate, hz: goldenHz(i), load: func(t *testing.T) []float64 { return goldenPluck(i) }})
	}
	got := make([][]string, len(clips))
	t.Run("clips", func(t *testing.T) {
		for i, c := range clips {
			t.Run(c.name, func(t *testing.T) {
				t.Parallel()
				x := c.load(t)
				got[i] = []string{c.listen(t, x, "live"), c.listen(t, x, "whole")}
				if c.hz > 0 {
					got[i] = append(got[i], c.listen(t, x, "expected"), c.window(t, x))
				}
				for _, line := range got[i] {
					if !*update {
						compareGolden(t, want[key(line)], line, madeOn == arithmetic())
					}
				}
			})
		}
	})
	if !*update {
		if lines := len(slices.Concat(got...)); len(want) != lines && !t.Failed() {
			t.Errorf("%s has %d lines, want %d", goldenFile, len(want), lines)
		}
		return
	}
	var b strings.Builder
	fmt.Fprintln(&b, arithmetic())
	for _, lines := range got {
		fmt.Fprintln(&b, strings.Join(lines, "\n"))
	}
	if err := os.WriteFile(goldenFile, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// arithmetic names what the bits of a reading may depend on: the architecture, and the bits of some sums and
// functions.
func arithmetic() string {
	h := fnv.New64a()
	for i := range 100 {
		x := float64(i)*0.37 - 11.3
		s, c := math.Sincos(x)
		put(h, x*x+s, c*s-x, math.Exp(x/7), math.Log(x*x+0.1), math.Atan2(s, x), math.Pow(1.1, x), math.Erfc(x/9), math.Hypot(s, c*3))
	}
	return fmt.Sprintf("made on %s, arithmetic %016x", runtime.GOARCH, h.Sum64())
}

func put(h hash.Hash64, values ...float64) {
	var b [8]byte
	for _, v := range values {
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(v))
		h.Write(b[:])
	}
}

type goldenClip struct {
	name string
	rate float64
	hz   float64 // of a pluck, to be expected; 0: nothing is
	load func(t *testing.T) []float64
}

// recordedClips are all recordings in testdata/wav.
func recordedClips(t *testing.T) []goldenClip {
	var files []string
	for _, pattern := range []string{"*.flac", "chords/*.flac"} {
		found, err := filepath.Glob(filepath.Join(testkit.WAVDir(), pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	if len(files) < 35 {
		t.Fatalf("%d recordings in %s, want 35 or more", len(files), testkit.WAVDir())
	}
	slices.Sort(files)
	var all []goldenClip
	for _, file := range files {
		src, err := capture.Open(context.Background(), file, capture.Options{})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, goldenClip{
			name: strings.TrimSuffix(filepath.Base(file), ".flac"), rate: float64(src.SampleRate()),
			load: func(t *testing.T) []float64 { return readAll(t, file, capture.Options{}) },
		})
		src.Close()
	}
	return all
}

func demo(t *testing.T) []float64 {
	return readAll(t, "demo", capture.Options{SampleRate: goldenRate})
}

func readAll(t *testing.T, spec string, o capture.Options) []float64 {
	t.Helper()
	src, err := capture.Open(context.Background(), spec, o)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var x []float64
	buf := make([]float64, 4096)
	for {
		b, err := src.Read(context.Background(), buf)
		x = append(x, b.Samples...)
		if errors.Is(err, io.EOF) {
			return x
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// goldenHz returns the pitch of pluck i: evenly spaced by its logarithm, in no order.
func goldenHz(i int) float64 {
	const low, high = 29.0, 1500.0
	return low * math.Pow(high/low, math.Mod(float64(i)*math.Phi, 1))
}

// goldenPluck returns pluck i: any string of a wide choice, in noise.
func goldenPluck(i int) []float64 {
	rng := rand.New(rand.NewPCG(goldenSeed, uint64(i)))
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	hz := goldenHz(i)
	s := sound.String(hz)
	s.B *= between(0, 3)
	s.Partials = 6 + rng.IntN(20)
	s.Pluck, s.RollOff = between(0.05, 0.4), between(0.3, 2)
	s.GlideCents, s.GlideTau = between(0, 20), between(0.05, 0.3)
	s.ScatterCents = between(0, 0.5)
	s.SNRdB = between(15, 60)
	s.StartS = -between(0.1, 0.2)
	if i%4 == 0 {
		s.HighPassHz = 2 * hz
	}
	x := make([]float64, goldenRate)
	s.Render(x, goldenRate, rng)
	return x
}

// putReading hashes all that a reading says.
func putReading(h hash.Hash64, r *pitch.Reading) {
	put(h, float64(r.At), float64(r.State), float64(r.Onset), r.F1Hz, r.SigmaCents, r.AttackF1Hz, r.Partial1Hz,
		r.B, r.BSigma, r.SNRdB, r.LevelDB, r.WindowS, bit(r.NewOnset), bit(r.AfterGap))
	for _, p := range r.Partials {
		put(h, float64(p.N), p.Hz, p.OffCents, p.SigmaCents, p.LevelDB, p.PhaseTurns)
	}
}

// window returns the line of what is read of the middle half of a clip at once.
func (c goldenClip) window(t *testing.T, x []float64) string {
	t.Helper()
	e, err := pitch.NewWindowEstimator(c.rate)
	if err != nil {
		t.Fatal(err)
	}
	h := fnv.New64a()
	r, ok := e.Estimate(x[len(x)/4:3*len(x)/4], 25, 5000)
	put(h, bit(ok))
	putReading(h, &r)
	return fmt.Sprintf("%s window %016x ok=%t last=%.5f±%.4g", c.name, h.Sum64(), ok, r.F1Hz, r.SigmaCents)
}

// listen returns the line of what a tracker says of a clip.
func (c goldenClip) listen(t *testing.T, x []float64, way string) string {
	t.Helper()
	h := fnv.New64a()
	readings, sounding := 0, 0
	var firstS float64
	var last, note pitch.Reading
	notes := 0
	cfg := pitch.Config{SampleRate: c.rate, Live: way != "whole", OnNote: func(n *pitch.Note) {
		put(h, float64(n.Start), float64(n.End))
		putReading(h, &n.Reading)
		notes++
		if note.F1Hz == 0 {
			note = n.Reading
		}
	}}
	tracker, err := pitch.NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	if way == "expected" {
		tracker.Expect(c.hz/2, []float64{c.hz})
	}
	for at := 0; at < len(x); at += goldenBlock {
		tracker.Push(x[at:min(at+goldenBlock, len(x))], int64(at), func(r *pitch.Reading) {
			putReading(h, r)
			readings++
			if r.State != pitch.Sounding {
				return
			}
			if sounding++; sounding == 1 {
				firstS = float64(r.At) / c.rate
			}
			last = *r
		})
	}
	tracker.Flush()
	line := fmt.Sprintf("%s %s %016x notes=%d note=%.5f±%.4g", c.name, way, h.Sum64(), notes, note.F1Hz, note.SigmaCents)
	if cfg.Live {
		line += fmt.Sprintf(" readings=%d sounding=%d first=%.4fs last=%.5f±%.4g", readings, sounding, firstS, last.F1Hz, last.SigmaCents)
	}
	return line
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// key returns clip and way of a line.
func key(line string) string {
	fields := strings.Fields(line)
	return fields[0] + " " + fields[1]
}

func readGolden(t *testing.T) (lines map[string]string, madeOn string) {
	t.Helper()
	text, err := os.ReadFile(goldenFile)
	if err != nil && !*update {
		t.Fatal(err)
	}
	all := strings.Split(strings.TrimSpace(string(text)), "\n")
	lines = map[string]string{}
	for _, line := range all[1:] {
		lines[key(line)] = line
	}
	return lines, all[0]
}

// compareGolden compares lines by their bits or, on another arithmetic, the pitches by their σ.
func compareGolden(t *testing.T, want, got string, bits bool) {
	t.Helper()
	if bits {
		if want != got {
			t.Errorf("not as it was:\n  was %s\n  is  %s", want, got)
		}
		return
	}
	for _, what := range []string{"last", "note"} {
		hz, sigma, ok := figure(t, want, what)
		now, nowSigma, same := figure(t, got, what)
		if ok != same {
			t.Errorf("%s is told in one alone:\n  was %s\n  is  %s", what, want, got)
			continue
		}
		if off := math.Abs(1200 * math.Log2(now/hz)); hz != now && !(off <= max(sigma, nowSigma)) {
			t.Errorf("%s %.3f cents beside what it was:\n  was %s\n  is  %s", what, off, want, got)
		}
	}
}

// figure returns a pitch and its σ from a line that has them.
func figure(t *testing.T, line, what string) (hz, sigma float64, ok bool) {
	t.Helper()
	for _, field := range strings.Fields(line) {
		if text, ok := strings.CutPrefix(field, what+"="); ok {
			if _, err := fmt.Sscanf(text, "%g±%g", &hz, &sigma); err != nil {
				t.Fatal(err)
			}
			return hz, sigma, true
		}
	}
	return 0, 0, false
}
