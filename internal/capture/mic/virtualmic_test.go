//go:build virtualmic && linux && cgo && !nomic

// These tests listen to a real sound server. Run them by
//
//	scripts/virtual-mic.sh -r 48000 -- go test -tags virtualmic ./internal/capture/mic/

package mic

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/device"
	"tunerd/internal/sampling"
)

const virtualRate = 48000 // Hz, of the virtual microphone

func needVirtualMic(t *testing.T) {
	t.Helper()
	if os.Getenv("VMIC_MODULE") == "" {
		t.Fatal("no virtual microphone; run scripts/virtual-mic.sh -r 48000 -- go test -tags virtualmic ./internal/capture/mic/")
	}
}

func openVirtualMic(t *testing.T) capture.Source {
	t.Helper()
	src, err := Open(t.Context(), "mic", capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { src.Close() })
	return src
}

// noise is a sequence of n samples of 24 bits in which no sample is 0 and any three tell where
// they are from.
func noise(n int) []int32 {
	s := make([]int32, n)
	x := uint32(2463534242)
	for i := range s {
		x ^= x << 13 // Marsaglia, Xorshift RNGs, J. Stat. Software 8 (14), 2003
		x ^= x >> 17
		x ^= x << 5
		s[i] = int32(x)>>8 | 1
	}
	return s
}

// play starts playing samples of 24 bits into the microphone; wait ends with it. Silence goes
// before them, because the server loses the first samples of what it begins to play: it mixes
// them into a block of which the microphone has heard a part already.
func play(t *testing.T, samples []int32) (wait func()) {
	t.Helper()
	sound := append(make([]int32, virtualRate/4), samples...)
	var raw []byte
	for _, v := range sound {
		raw = append(raw, byte(v), byte(v>>8), byte(v>>16))
	}
	path := filepath.Join(t.TempDir(), "noise")
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("paplay", "--latency-msec=2000", "--device=mic", "--raw", "--format=s24le", "--channels=1", fmt.Sprintf("--rate=%d", virtualRate), path)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := cmd.Wait(); err != nil {
			t.Errorf("paplay: %v", err)
		}
	}
}

// pactl gives the sound server a command and returns its answer.
func pactl(t *testing.T, args ...string) string {
	t.Helper()
	out, err := exec.Command("pactl", args...).CombinedOutput()
	if err != nil {
		t.Fatalf("pactl %v: %v: %s", args, err, out)
	}
	return strings.TrimSpace(string(out))
}

// heard reads src until the played samples are over, or for limit, and checks that they came
// whole, exactly and without a gap. Before and after them the microphone hears silence.
func heard(t *testing.T, src capture.Source, played []int32, limit time.Duration) {
	t.Helper()
	deadline := time.Now().Add(limit)
	dst := make([]float64, 479)
	next, pos := 0, int64(-1)
	for next < len(played) {
		if time.Now().After(deadline) {
			t.Fatalf("%d of %d samples heard within %v", next, len(played), limit)
		}
		b, err := src.Read(t.Context(), dst)
		if err != nil {
			t.Fatal(err)
		}
		if pos >= 0 && b.Start != pos {
			t.Fatalf("block at %d, want %d (%d lost)", b.Start, pos, b.Lost)
		}
		pos = b.Start + int64(len(b.Samples))
		for _, v := range b.Samples {
			if next == 0 && v == 0 || next == len(played) {
				continue
			}
			if want := float64(played[next]) / (1 << 23); v != want {
				t.Fatalf("sample %d of the sound is %v, want %v", next, v, want)
			}
			next++
		}
	}
}

func TestVirtualMicIsListed(t *testing.T) {
	needVirtualMic(t)
	if !device.HasMicrophone() {
		t.Error("HasMicrophone is false")
	}
	devices, err := device.List()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range devices {
		if d.DefaultInput && d.MaxInput > 0 {
			return
		}
	}
	t.Errorf("no default input among %+v", devices)
}

// TestVirtualMicIsExact plays ten seconds of noise of 24 bits, which float32 holds exactly.
func TestVirtualMicIsExact(t *testing.T) {
	needVirtualMic(t)
	src := openVirtualMic(t)
	if src.SampleRate() != virtualRate {
		t.Fatalf("sample rate %d Hz, want %d Hz", src.SampleRate(), virtualRate)
	}
	sound := noise(10 * virtualRate)
	wait := play(t, sound)
	heard(t, src, sound, time.Minute)
	wait()
}

// lose reads until the loss of the device is told, which must be within 1.1 s. It returns the
// position reached.
func lose(t *testing.T, src capture.Source) int64 {
	t.Helper()
	gone := time.Now()
	var pos int64
	dst := make([]float64, 512)
	for {
		b, err := src.Read(t.Context(), dst)
		if err == nil {
			pos = b.Start + int64(len(b.Samples))
			continue
		}
		if !errors.Is(err, capture.ErrDeviceLost) {
			t.Fatalf("read: %v, want ErrDeviceLost", err)
		}
		// The bound is part of what a live source promises, not a measure of speed.
		if took := time.Since(gone); took > 1100*time.Millisecond {
			t.Errorf("loss told after %v, want within 1.1 s", took)
		}
		return pos
	}
}

// recovered reads the first block after a loss at pos, and checks that the gap is as long as
// the time that has passed since gone, within a second.
func recovered(t *testing.T, src capture.Source, pos int64, gone time.Time) {
	t.Helper()
	b, err := src.Read(t.Context(), make([]float64, 512))
	if err != nil {
		t.Fatal(err)
	}
	if b.Lost < 1 || b.Start != pos+b.Lost {
		t.Errorf("block at %d with %d lost, want some lost since %d", b.Start, b.Lost, pos)
	}
	away := time.Since(gone)
	if diff := sampling.Duration(b.Lost, src.SampleRate()) - away; diff.Abs() > time.Second {
		t.Errorf("%d samples lost in %v", b.Lost, away)
	}
}

// TestVirtualMicVanishes unloads the microphone, as unplugging does, and loads it again.
func TestVirtualMicVanishes(t *testing.T) {
	needVirtualMic(t)
	src := openVirtualMic(t)
	if _, err := src.Read(t.Context(), make([]float64, 512)); err != nil {
		t.Fatal(err)
	}
	pactl(t, "unload-module", os.Getenv("VMIC_MODULE"))
	gone := time.Now()
	pos := lose(t, src)

	module := pactl(t, append([]string{"load-module"}, strings.Fields(os.Getenv("VMIC_LOAD"))...)...)
	pactl(t, "set-default-source", "mic.monitor")
	os.Setenv("VMIC_MODULE", module) // for tests to come
	recovered(t, src, pos, gone)

	sound := noise(2 * virtualRate)
	wait := play(t, sound)
	heard(t, src, sound, time.Minute)
	wait()
}

// TestVirtualMicFreezes stops the sound server for a while, so that even closing the device
// hangs.
func TestVirtualMicFreezes(t *testing.T) {
	needVirtualMic(t)
	pid, err := strconv.Atoi(os.Getenv("VMIC_PULSE_PID"))
	if err != nil {
		t.Fatal(err)
	}
	src := openVirtualMic(t)
	if _, err := src.Read(t.Context(), make([]float64, 512)); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	gone := time.Now()
	goOn := func() { syscall.Kill(pid, syscall.SIGCONT) }
	t.Cleanup(goOn)
	pos := lose(t, src)
	time.AfterFunc(3*time.Second, goOn)
	recovered(t, src, pos, gone)
}
