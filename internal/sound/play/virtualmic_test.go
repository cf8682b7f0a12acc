//go:build virtualmic && cgo && !nomic

package play

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"testing"
	"time"

	"tunerd/internal/device"
	"tunerd/internal/testkit"
)

// TestMain lets the test binary be the process that has the sound devices.
func TestMain(m *testing.M) {
	device.ServeIfAsked()
	os.Exit(m.Run())
}

// TestVirtualMicHearsWhatIsPlayed plays into the sink of scripts/virtual-mic.sh and records its
// monitor: every sample must arrive, in order, between silence and silence.
func TestVirtualMicHearsWhatIsPlayed(t *testing.T) {
	testkit.NeedVirtualMic(t)
	p, err := Open("", rate)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if p.SampleRate() != rate {
		t.Fatalf("%s takes %d Hz", p.Name(), p.SampleRate())
	}
	played := make([]float64, 2*rate)
	for i := range played {
		played[i] = 0.3 * math.Sin(2*math.Pi*440*float64(i)/rate) * float64(i%1000+1) / 1000
	}
	record := startRecorder(t)
	if err := p.Play(context.Background(), played); err != nil {
		t.Fatal(err)
	}
	heard := record()
	first := 0
	for first < len(heard) && heard[first] == 0 {
		first++
	}
	first-- // the first sample played is 0
	if first < 0 || len(heard)-first < len(played) {
		t.Fatalf("heard %d samples, sound from %d on", len(heard), first)
	}
	for i, x := range played {
		if math.Abs(float64(heard[first+i])-x) > 1e-6 {
			t.Fatalf("sample %d is %g, played %g", i, heard[first+i], x)
		}
	}
	for i, x := range heard[first+len(played):] {
		if x != 0 {
			t.Fatalf("%g is heard %d samples after the end", x, i)
		}
	}
}

// startRecorder records the monitor until the function it returns is called.
func startRecorder(t *testing.T) (stop func() []float32) {
	t.Helper()
	parec := exec.Command("parec", "--raw", "--format=float32le", "--rate=48000", "--channels=1", "--latency-msec=20", "--device=mic.monitor")
	var raw bytes.Buffer
	parec.Stdout, parec.Stderr = &raw, os.Stderr
	if err := parec.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond) // for the recorder to be connected
	return func() []float32 {
		parec.Process.Signal(os.Interrupt)
		parec.Wait() // ends by the signal
		heard := make([]float32, raw.Len()/4)
		if err := binary.Read(bytes.NewReader(raw.Bytes()[:4*len(heard)]), binary.LittleEndian, heard); err != nil {
			t.Fatal(err)
		}
		return heard
	}
}
