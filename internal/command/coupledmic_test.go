//go:build virtualmic

package command_test

import (
	"bufio"
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"

	"tunerd/internal/coupling"
	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

// TestCoupledPassAtTheVirtualMicrophone has a hand tune the dulcimer of the demo, as if its strings pulled on one
// another by a long thin neck, as the program says that hears it at the microphone of scripts/virtual-mic.sh.
// Nothing is known of the neck before. One pass ends with every string in tune, or as was forecast.
func TestCoupledPassAtTheVirtualMicrophone(t *testing.T) {
	testkit.NeedVirtualMic(t)
	dir := t.TempDir()
	h, err := newCoupledHand("dulcimer-22edo", "long neck, 4 steel", coupling.LongNeck, 20, 3)
	if err != nil {
		t.Fatal(err)
	}
	known := filepath.Join(dir, "known.json")
	program := exec.Command(buildProgram(t), "listen", "--input", "mic", "--rate", "48000", "--json", "--coupled",
		"--instrument", "dulcimer-22edo", "--support", string(coupling.LongNeck), "--known", known)
	program.Stderr = os.Stderr
	out, err := program.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = program.Process.Kill() }) // where the test has ended before it
	h.live, h.fail = true, t.Fatalf
	h.lines = bufio.NewScanner(out)
	h.lines.Buffer(nil, 1<<20)
	h.lines.Scan() // it hears
	var last sync.WaitGroup
	h.play = func(samples []float64) {
		var wav bytes.Buffer
		if err := sound.WriteWAV(&wav, samples, scriptRate, sound.Float32); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, "note.wav")
		if err := os.WriteFile(file, wav.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		last.Wait() // with the pause at its end
		last.Go(func() { testkit.PlayIntoMic(t, file) })
	}
	defer last.Wait()
	h.tune()
	h.check()
	for i := range h.in.Strings {
		t.Logf("string %d: %+.2f cents, forecast %+.2f ± %.2f", i+1, h.truth.Cents(i), h.forecast[i].ForecastCents, h.forecast[i].ForecastSigma)
	}
	if most := len(h.in.Strings) + 3; h.moves > most {
		t.Errorf("%d moves of %d strings", h.moves, len(h.in.Strings))
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // it ends with the program
	if err := program.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	_ = program.Wait() // being interrupted is no failure of what is tested here
	if _, err := os.Stat(known); err != nil {
		t.Errorf("what was learned is not kept: %v", err)
	}
}
