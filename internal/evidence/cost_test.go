//go:build linux

package evidence

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
)

// What both sides of the comparison read: as a live tuner would, at the rate of the recordings.
const (
	costRate    = 44100
	costSeconds = 60
	costHop     = 512
)

// BenchmarkLiveCost reports the CPU time of the live tracker and of aubio's pitch reader
// (yinfft, window 2048) on the same minute of sound, in the same run, both from memory in hops of
// 512: of plucked strings, four seconds each, and of a tone that is held. Each side's figure is its
// quickest pass, so that other work on the machine counts little. cpu-ratio is tunerd over aubio;
// below 1 tunerd is the cheaper one.
func BenchmarkLiveCost(b *testing.B) {
	b.Run("plucked", func(b *testing.B) { liveCost(b, pluckedRecordings(b)) })
	b.Run("held", func(b *testing.B) { liveCost(b, heldTone()) })
}

func liveCost(b *testing.B, sound []float64) {
	b.Helper()
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: costRate, Live: true})
	if err != nil {
		b.Fatal(err)
	}
	aubio, known := aubioCost(b, sound)
	readings, start := 0, int64(0)
	emit := func(r *pitch.Reading) {
		if r.State == pitch.Sounding {
			readings++
		}
	}
	quickest := math.Inf(1)
	b.ReportAllocs()
	for b.Loop() {
		began := cpuSeconds(b)
		for at := 0; at+costHop <= len(sound); at += costHop {
			tracker.Push(sound[at:at+costHop], start, emit)
			start += costHop
		}
		quickest = min(quickest, (cpuSeconds(b)-began)/costSeconds)
	}
	if hops := b.N * len(sound) / costHop; readings < hops/2 {
		b.Fatalf("%d readings in %d hops", readings, hops)
	}
	b.ReportMetric(1e6*quickest, "cpu-µs/s-of-sound")
	if known {
		b.ReportMetric(1e6*aubio, "aubio-cpu-µs/s-of-sound")
		b.ReportMetric(quickest/aubio, "cpu-ratio")
	}
}

// heldTone is a minute of a tone that does not fade: 16 harmonics of 110 Hz, each in inverse proportion
// to its number, in noise 54 dB below the lowest.
func heldTone() []float64 {
	const hz, amp = 110.0, 0.1
	rng := rand.New(rand.NewPCG(1, 1))
	sound := make([]float64, costSeconds*costRate)
	for i := range sound {
		sound[i] = amp / 500 * rng.NormFloat64()
		at := float64(i)/costRate - 0.5
		for k := 1; at > 0 && k <= 16; k++ {
			sound[i] += amp / float64(k) * (1 - math.Exp(-at/0.05)) * math.Sin(2*math.Pi*hz*float64(k)*at)
		}
	}
	return sound
}

// pluckedRecordings strings the plucked notes of the recordings together.
func pluckedRecordings(b *testing.B) []float64 {
	b.Helper()
	var sound []float64
	for _, name := range []string{"strat-*", "egtr-green-*", "classical-*", "bassvi-*", "harp-*"} {
		paths, err := filepath.Glob(filepath.Join(wavDir, name+".flac"))
		if err != nil {
			b.Fatal(err)
		}
		for _, path := range paths {
			sound = append(sound, readAll(b, path)...)
		}
	}
	if len(sound) < costSeconds*costRate {
		b.Fatalf("only %d samples", len(sound))
	}
	return sound[:costSeconds*costRate]
}

func readAll(b *testing.B, path string) []float64 {
	b.Helper()
	src, err := capture.Open(context.Background(), path, capture.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	if src.SampleRate() != costRate {
		b.Fatalf("%s: %d Hz, want %d", path, src.SampleRate(), costRate)
	}
	var sound []float64
	buf := make([]float64, 4096)
	for {
		block, err := src.Read(context.Background(), buf)
		sound = append(sound, block.Samples...)
		if err != nil {
			return sound // io.EOF, or a length that the caller finds too short
		}
	}
}

// aubioCost compiles a loop around libaubio and runs it over the sound: CPU seconds for a
// second of sound. Not known where the compiler or the library is missing.
func aubioCost(b *testing.B, sound []float64) (cost float64, known bool) {
	b.Helper()
	dir := b.TempDir()
	program, raw := filepath.Join(dir, "aubio_cost"), filepath.Join(dir, "sound.f32")
	compile := "cc -O2 -o " + program + " testdata/aubio_cost.c $(pkg-config --cflags --libs aubio)"
	if out, err := exec.Command("sh", "-c", compile).CombinedOutput(); err != nil {
		b.Logf("no comparison with aubio (Debian packages gcc, pkg-config, libaubio-dev): %v\n%s", err, out)
		return 0, false
	}
	samples := make([]float32, len(sound))
	for i, v := range sound {
		samples[i] = float32(v)
	}
	var data bytes.Buffer
	if err := binary.Write(&data, binary.NativeEndian, samples); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(raw, data.Bytes(), 0o600); err != nil {
		b.Fatal(err)
	}
	var pitched float64
	out := run(b, program, "yinfft", "2048", fmt.Sprint(costHop), fmt.Sprint(costRate), "5", raw)
	if _, err := fmt.Sscan(strings.TrimSpace(string(out)), &cost, &pitched); err != nil || pitched < 0.5 {
		b.Fatalf("aubio gave %q", out)
	}
	return cost, true
}

// cpuSeconds is the CPU time that this process has used, in user and system mode.
func cpuSeconds(b *testing.B) float64 {
	b.Helper()
	var usage syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
		b.Fatal(err)
	}
	return float64(usage.Utime.Nano()+usage.Stime.Nano()) / 1e9
}
