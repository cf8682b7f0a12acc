package capture

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// needTool skips the test where a program is not installed, except where TUNERD_CI=1 says that
// it must be.
func needTool(t *testing.T, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err == nil {
		return
	}
	if os.Getenv("TUNERD_CI") == "1" {
		t.Fatalf("%s is not installed", name)
	}
	t.Skipf("%s is not installed: files that it writes are not tried", name)
}

func run(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	var out, chatter bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = &out, &chatter
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v: %v\n%s", cmd.Args, err, chatter.String())
	}
	return out.Bytes()
}

// TestWrittenBySox reads files that sox wrote and compares each channel with what sox itself
// reads back, as integers of 32 bits, its inner format.
func TestWrittenBySox(t *testing.T) {
	needTool(t, "sox")
	encodings := []struct {
		name string
		args []string
	}{
		{"u8", []string{"-e", "unsigned", "-b", "8"}},
		{"s16", []string{"-e", "signed", "-b", "16"}},
		{"s24", []string{"-e", "signed", "-b", "24"}},
		{"s32", []string{"-e", "signed", "-b", "32"}},
		{"f32", []string{"-e", "float", "-b", "32"}},
		{"f64", []string{"-e", "float", "-b", "64"}},
	}
	for _, enc := range encodings {
		for _, nch := range []int{1, 2, 6} {
			for _, rate := range []int{8000, 44100, 192000} {
				t.Run(fmt.Sprintf("%s channels=%d rate=%d", enc.name, nch, rate), func(t *testing.T) {
					path := filepath.Join(t.TempDir(), "x.wav")
					args := append([]string{"-R", "-n", "-r", strconv.Itoa(rate), "-c", strconv.Itoa(nch)}, enc.args...)
					run(t, "sox", append(args, path, "synth", "0.05", "pinknoise", "gain", "-3")...)
					raw := run(t, "sox", path, "-t", "raw", "-e", "signed", "-b", "32", "-L", "-")
					compareChannels(t, path, raw, 4, nch)
				})
			}
		}
	}
}

// TestWrittenByFlac reads files that flac wrote and compares each channel with what flac
// itself decodes.
func TestWrittenByFlac(t *testing.T) {
	needTool(t, "sox")
	needTool(t, "flac")
	for _, bits := range []int{8, 16, 24} {
		for _, nch := range []int{1, 2, 6} {
			for _, level := range []string{"-0", "-5", "-8"} {
				t.Run(fmt.Sprintf("s%d channels=%d level%s", bits, nch, level), func(t *testing.T) {
					dir := t.TempDir()
					wav, path := filepath.Join(dir, "x.wav"), filepath.Join(dir, "x.flac")
					run(t, "sox", "-R", "-n", "-r", "48000", "-b", strconv.Itoa(bits), "-c", strconv.Itoa(nch),
						wav, "synth", "0.3", "pluck", "220", "gain", "-3")
					run(t, "flac", "--silent", level, "-o", path, wav)
					raw := run(t, "flac", "--silent", "-d", "-c", "--force-raw-format", "--endian=little", "--sign=signed", path)
					compareChannels(t, path, raw, bits/8, nch)
				})
			}
		}
	}
}

// compareChannels reads every channel of the recording at path and compares it with raw,
// little-endian signed integers of the given width. What sox makes of float samples is rounded
// to 32 bits; nothing else may differ.
func compareChannels(t *testing.T, path string, raw []byte, width, nch int) {
	t.Helper()
	frames := len(raw) / width / nch
	if frames == 0 {
		t.Fatal("nothing to compare with")
	}
	for c := range nch {
		got := readAll(t, mustOpen(t, path, Options{Channel: c + 1}), 4096)
		if len(got) != frames {
			t.Fatalf("channel %d: %d samples, want %d", c+1, len(got), frames)
		}
		for i, v := range got {
			at := (i*nch + c) * width
			want := signedValue(raw[at : at+width])
			if math.Abs(v-want) > 1.0/(1<<31) {
				t.Fatalf("channel %d, sample %d: %v, want %v", c+1, i, v, want)
			}
		}
	}
}

// signedValue is a little-endian signed integer of any width as a sample with full scale 1.
func signedValue(b []byte) float64 {
	var wide [4]byte
	copy(wide[4-len(b):], b)
	return float64(int32(binary.LittleEndian.Uint32(wide[:]))) / (1 << 31)
}

// TestStreamedBySox reads from a pipe what sox writes to it, with no length in the header.
func TestStreamedBySox(t *testing.T) {
	needTool(t, "sox")
	args := []string{"-R", "-n", "-r", "48000", "-b", "16", "-c", "1"}
	synth := []string{"synth", "0.5", "pluck", "110"}
	path := filepath.Join(t.TempDir(), "x.wav")
	run(t, "sox", append(append(args, path), synth...)...)
	want := readAll(t, mustOpen(t, path, Options{}), 4096)

	cmd := exec.Command("sox", append(append(args, "-t", "wav", "-"), synth...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var notes logBuffer
	src, err := openReader(t.Context(), "pipe", out, true, Options{Log: logTo(&notes)})
	if err != nil {
		t.Fatal(err)
	}
	got := readAll(t, src, 4096)
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d samples, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("sample %d is %v, want %v", i, got[i], want[i])
		}
	}
	if notes.String() != "" {
		t.Errorf("logged %q, want nothing", notes.String())
	}
}
