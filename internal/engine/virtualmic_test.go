//go:build virtualmic

package engine_test

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/capture/mic"
	"tunerd/internal/device"
	"tunerd/internal/display"
	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

// TestMain lets the test binary be the process that has the sound devices.
func TestMain(m *testing.M) {
	device.ServeIfAsked()
	os.Exit(m.Run())
}

// TestLatencyOnVirtualMicrophone plays ten seconds of a string into the microphone of
// scripts/virtual-mic.sh and prints the time from the arrival of the newest sample that a reading
// used to its frame. The figures are for reading: only that there are any, and no gap, is checked.
func TestLatencyOnVirtualMicrophone(t *testing.T) {
	testkit.NeedVirtualMic(t)
	const rate = 48000
	wav := filepath.Join(t.TempDir(), "string.wav")
	writePluck(t, wav, 110, 10, rate)
	source, err := mic.Open(t.Context(), "mic", capture.Options{SampleRate: rate})
	if err != nil {
		t.Fatal(err)
	}
	defer source.Close()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	hear := &listener{}
	begun := make(chan struct{}) // closed when sound arrives: from then on nothing is missed
	var once sync.Once
	s := session(t, source, 0, hear, sinkFunc(func(*display.Frame) error {
		once.Do(func() { close(begun) })
		return nil
	}))
	go func() {
		defer cancel()
		<-begun
		testkit.PlayIntoMic(t, wav)
	}()
	if err := s.Run(ctx); err != nil {
		t.Fatal(err)
	}
	l := s.Latency()
	t.Logf("from the newest sample to the frame, %d readings: median %v, 99th percentile %v, longest %v",
		l.Readings, l.Median, l.P99, l.Max)
	if len(hear.notes) == 0 || hear.notes[0].label != "A2" {
		t.Errorf("heard %+v, want A2", hear.notes)
	}
	if hear.last.Gaps != 0 {
		t.Errorf("%d gaps", hear.last.Gaps)
	}
}

type sinkFunc func(*display.Frame) error

func (f sinkFunc) Show(frame *display.Frame) error { return f(frame) }

// writePluck writes a synthetic string of hz as a WAV file.
func writePluck(t *testing.T, path string, hz float64, seconds, rate int) {
	t.Helper()
	samples := make([]float64, seconds*rate)
	sound.String(hz).Render(samples, float64(rate), rand.New(rand.NewPCG(1, 1)))
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := sound.WriteWAV(f, samples, rate, sound.PCM24); err != nil {
		t.Fatal(err)
	}
}
