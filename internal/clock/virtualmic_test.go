//go:build virtualmic && linux && cgo && !nomic

// These tests listen to a real sound server. Run them by
//
//	scripts/virtual-mic.sh -r 48000 -- go test -tags virtualmic ./internal/clock/

package clock

import (
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/capture/mic"
	"tunerd/internal/device"
	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

// TestMain lets the test binary be the process that has the sound devices.
func TestMain(m *testing.M) {
	device.ServeIfAsked()
	os.Exit(m.Run())
}

func openVirtualMic(t *testing.T) capture.Source {
	t.Helper()
	testkit.NeedVirtualMic(t)
	source, err := mic.Open(t.Context(), "mic", capture.Options{SampleRate: rate})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { source.Close() })
	return source
}

// TestVirtualMicHearsATone plays what a card that is 50 ppm fast would record of a tone of 440 Hz.
// The virtual microphone hears what is played sample for sample, whatever its own rate.
func TestVirtualMicHearsATone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "tone.wav")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	x := tone(440/(1+50e-6), 20, 0.001, rand.New(rand.NewPCG(41, 0)))
	if err := sound.WriteWAV(f, x, rate, sound.PCM24); err != nil {
		t.Fatal(err)
	}
	f.Close()
	source := openVirtualMic(t)
	play := exec.Command("paplay", "--latency-msec=2000", "--device=mic", path)
	if err := play.Start(); err != nil {
		t.Fatal(err)
	}
	defer play.Wait()
	m, err := Measure(t.Context(), source, Job{ToneHz: 440, Seconds: 16})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", m)
	if math.Abs(m.PPM-50) > 3*m.SigmaPPM || m.SigmaPPM > 0.01 {
		t.Errorf("%g ± %g ppm, want 50 ppm", m.PPM, m.SigmaPPM)
	}
}

// TestVirtualMicAgainstTheSystem compares the rate of the virtual microphone, which is off by up to
// 200 ppm and differs from start to start, with that found by another program, parec, over the
// same time and by another way: the least delay of its first and its last quarter.
func TestVirtualMicAgainstTheSystem(t *testing.T) {
	source := openVirtualMic(t)
	const seconds = 45
	recorder := exec.Command("parec", "--raw", "--format=s16le", "--rate=48000", "--channels=1", "--latency-msec=20", "--device=mic.monitor")
	out, err := recorder.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := recorder.Start(); err != nil {
		t.Fatal(err)
	}
	second := make(chan float64, 1)
	go func() { second <- quarters(out, seconds) }()
	m, err := Measure(t.Context(), source, Job{Seconds: seconds})
	if err != nil {
		t.Fatal(err)
	}
	other := <-second
	recorder.Process.Kill()
	recorder.Wait()
	t.Logf("%+.2f ± %.2f ppm; parec %+.2f ppm; %+v", m.PPM, m.SigmaPPM, other, m)
	// Two least delays half a minute apart, each within half a millisecond or so.
	const otherSigma = 25
	if math.Abs(m.PPM-other) > 3*math.Hypot(m.SigmaPPM, otherSigma) {
		t.Errorf("%+.2f ± %.2f ppm, parec says %+.2f", m.PPM, m.SigmaPPM, other)
	}
	if m.SigmaPPM > 50 {
		t.Errorf("uncertainty of %g ppm after %d s", m.SigmaPPM, seconds)
	}
}

// quarters reads 16-bit samples and returns the rate error of their arrival in ppm.
func quarters(in io.Reader, seconds float64) float64 {
	start, count := time.Now(), 0
	buf := make([]byte, 4096)
	least := [2]float64{math.Inf(1), math.Inf(1)}
	at := [2]float64{}
	for {
		n, err := in.Read(buf)
		now := time.Since(start).Seconds()
		if err != nil || now > seconds {
			return (least[0] - least[1]) / (at[1] - at[0]) * 1e6
		}
		count += n
		delay := now - float64(count)/2/rate
		for i, part := range [2][2]float64{{2, 0.25 * seconds}, {0.75 * seconds, seconds}} {
			if now >= part[0] && now < part[1] && delay < least[i] {
				least[i], at[i] = delay, now
			}
		}
	}
}
