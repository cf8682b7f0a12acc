//go:build virtualmic

package command_test

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"tunerd/internal/testkit"
)

// TestListenHearsTheVirtualMicrophone plays recordings into the microphone of
// scripts/virtual-mic.sh while the program listens to it.
//
// The reference pitch of the manifest was read from 0.3 to 2.0 s after the attack; the reading
// taken here is the surest one within 2 s of the onset. The recordings are those whose pitch moves
// least (drift_cents); PulseAudio's resampler, where the rates differ, keeps the pitch.
func TestListenHearsTheVirtualMicrophone(t *testing.T) {
	testkit.NeedVirtualMic(t)
	bin := buildProgram(t)
	for _, c := range []struct{ file, label string }{
		{"strat-B-Gs4.flac", "G#4"},
		{"acoustic-guitar-G2.flac", "G2"},
		{"cello-C2.flac", "C2"},
	} {
		t.Run(c.file, func(t *testing.T) {
			path := filepath.Join("..", "..", "testdata", "wav", c.file)
			got := listenTo(t, bin, path)
			ref := testkit.ReferenceHz(t, c.file)
			want := 1200 * math.Log2(ref/got.Target.Hz)
			if got.Target.Label != c.label {
				t.Errorf("heard %s, want %s", got.Target.Label, c.label)
			}
			if math.Abs(got.Cents-want) > 3 {
				t.Errorf("heard %+.2f cents ±%.2f, the reference says %+.2f", got.Cents, got.CentsSigma, want)
			}
		})
	}
}

// A jsonReading is what is looked at of a line of listen --json.
type jsonReading struct {
	Type       string
	TS         float64 `json:"t_s"`
	OnsetS     float64 `json:"start_s"`
	Cents      float64
	CentsSigma float64 `json:"cents_sigma"`
	Target     struct {
		Label string
		Hz    float64
	}
}

// listenTo starts the program, plays the file once readings come, and returns the surest reading within
// two seconds of an onset: where the machine is slow to play, what is left of a note may be short.
func listenTo(t *testing.T, bin, path string) jsonReading {
	t.Helper()
	listen := exec.Command(bin, "listen", "--input", "mic", "--json")
	listen.Stderr = os.Stderr
	out, err := listen.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := listen.Start(); err != nil {
		t.Fatal(err)
	}
	var playing bool
	var best jsonReading
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if !playing {
			playing = true
			go play(t, path, listen.Process)
		}
		var r jsonReading
		if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
			t.Errorf("%q: %v", lines.Text(), err)
		}
		if r.Target.Label != "" && r.TS <= r.OnsetS+2 && (best.Target.Label == "" || r.CentsSigma <= best.CentsSigma) {
			best = r
		}
	}
	if err := listen.Wait(); err != nil {
		t.Errorf("listen did not end cleanly when interrupted: %v", err)
	}
	if best.Target.Label == "" {
		t.Fatal("no pitch heard")
	}
	return best
}

// play plays the file to its end, then asks the listener to end.
func play(t *testing.T, path string, listener *os.Process) {
	testkit.PlayIntoMic(t, path)
	if err := listener.Signal(syscall.SIGINT); err != nil {
		t.Error(err)
	}
}

// TestVirtualMicHearsToneBeat has one tunerd play two strings through the loudspeaker and another
// hear how they beat. The rate is that of testdata/script/measuredbeats.txtar.
func TestVirtualMicHearsToneBeat(t *testing.T) {
	testkit.NeedVirtualMic(t)
	bin := buildProgram(t)
	listen := exec.Command(bin, "listen", "--input", "mic", "--json", "--beats", "A2,E3")
	listen.Stderr = os.Stderr
	out, err := listen.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := listen.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		tone := exec.Command(bin, "tone", "A2", "E3-5c", "--inharmonicity", "1e-4,8e-5", "--seconds", "6")
		if said, err := tone.CombinedOutput(); err != nil {
			t.Errorf("tone: %v\n%s", err, said)
		}
		if err := listen.Process.Signal(syscall.SIGINT); err != nil {
			t.Error(err)
		}
	}()
	var last struct {
		Type    string
		BeatHz  float64 `json:"beat_hz"`
		SigmaHz float64 `json:"beat_sigma_hz"`
		Turn    string
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		next := last
		if err := json.Unmarshal(lines.Bytes(), &next); err != nil {
			t.Errorf("%q: %v", lines.Text(), err)
		}
		if next.Type == "measured_beat" {
			last = next
		}
	}
	if err := listen.Wait(); err != nil {
		t.Errorf("listen did not end cleanly when interrupted: %v", err)
	}
	if math.Abs(last.BeatHz-1.4156) > 0.005 || last.Turn != "E3 up" {
		t.Errorf("heard %+v, want 1.4156 beats a second, E3 up", last)
	}
}
