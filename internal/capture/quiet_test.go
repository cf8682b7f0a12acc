//go:build unix && cgo && !nomic

package capture

import (
	"io"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// captureStderr returns what arrives at file descriptor 2 while f runs.
func captureStderr(t *testing.T, f func()) string {
	t.Helper()
	file, err := os.CreateTemp(t.TempDir(), "stderr")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	kept, err := unix.Dup(2)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(kept)
	if err := unix.Dup2(int(file.Fd()), 2); err != nil {
		t.Fatal(err)
	}
	defer unix.Dup2(kept, 2)
	f()
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	printed, err := io.ReadAll(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(printed)
}

// TestDevicesIsQuiet lists the devices of this computer, which may have none. The sound
// libraries must not be heard of.
func TestDevicesIsQuiet(t *testing.T) {
	var devices []Device
	var err error
	var has bool
	printed := captureStderr(t, func() {
		devices, err = Devices()
		has = HasMicrophone()
	})
	if err != nil {
		t.Errorf("Devices: %v", err)
	}
	if printed != "" {
		t.Errorf("printed %q, want nothing", printed)
	}
	inputs := 0
	for _, d := range devices {
		if d.Name == "" || d.HostAPI == "" || d.MaxInput+d.MaxOutput == 0 {
			t.Errorf("device %+v", d)
		}
		if d.MaxInput > 0 {
			inputs++
		}
	}
	if has != (inputs > 0) {
		t.Errorf("HasMicrophone is %v with %d input devices", has, inputs)
	}
	if !has {
		if _, err := Open(t.Context(), "mic", Options{}); err == nil {
			t.Error("a microphone was opened where there is none")
		}
	}
}
