//go:build linux

package evidence

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/testkit"
)

var soak = flag.Bool("soak", false, "TestSoak reads ten minutes of sound instead of three")

// TestSoak reads a short and a long recording with the program itself: the memory that it takes
// must not grow with the length. Peak memory is the kernel's own count (getrusage). Kept whole,
// each minute at 48 kHz would take at least 11 MB as float32.
func TestSoak(t *testing.T) {
	testkit.NeedTool(t, "sox", "sox")
	minutes := 3
	if *soak {
		minutes = 10
	}
	program := build(t)
	short := measureMinutes(t, program, 1)
	long := measureMinutes(t, program, minutes)
	t.Logf("1 minute:   %v", short)
	t.Logf("%d minutes: %v", minutes, long)
	if want := minutes * short.notes; long.notes < want*9/10 || long.notes > want*11/10 {
		t.Errorf("%d notes in %d minutes, %d in one", long.notes, minutes, short.notes)
	}
	if limit := short.peakKB + 16<<10; long.peakKB > limit {
		t.Errorf("%d minutes took %d kB at the peak, one minute %d kB; want at most %d", minutes, long.peakKB, short.peakKB, limit)
	}
}

// A cost is what reading one file took.
type cost struct {
	notes  int
	peakKB int
	speed  float64 // seconds of sound per second
}

func (c cost) String() string {
	return fmt.Sprintf("%d notes, peak %.1f MB, %.0f times real time", c.notes, float64(c.peakKB)/1024, c.speed)
}

// build compiles the program as a user would.
func build(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tunerd")
	run(t, "go", "build", "-o", path, "tunerd/cmd/tunerd")
	return path
}

func measureMinutes(t *testing.T, program string, minutes int) cost {
	t.Helper()
	path := pluckedMinutes(t, minutes)
	var stderr bytes.Buffer
	cmd := exec.Command(program, "measure", "--json", path)
	cmd.Stderr = &stderr
	began := time.Now()
	out, err := cmd.Output()
	took := time.Since(began).Seconds()
	if err != nil {
		t.Fatalf("tunerd measure %s: %v\n%s", path, err, &stderr)
	}
	usage := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	return cost{notes: countNotes(t, out), peakKB: int(usage.Maxrss), speed: 60 * float64(minutes) / took}
}

// pluckedMinutes makes a recording at 48 kHz with a plucked note every three seconds.
func pluckedMinutes(t *testing.T, minutes int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "plucked.wav")
	run(t, "sox", "-D", "-n", "-r", "48000", "-b", "16", path,
		"synth", "2.6", "pluck", "A2", "vol", "0.5", "pad", "0", "0.4", "repeat", strconv.Itoa(20*minutes-1))
	return path
}

func countNotes(t *testing.T, jsonLines []byte) int {
	t.Helper()
	notes := 0
	for decoder := json.NewDecoder(bytes.NewReader(jsonLines)); decoder.More(); {
		var line struct{ Type string }
		if err := decoder.Decode(&line); err != nil {
			t.Fatal(err)
		}
		if line.Type == "note" {
			notes++
		}
	}
	return notes
}
