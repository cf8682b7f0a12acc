//go:build unix && cgo && !nomic

package capture

import (
	"testing"

	"tunerd/internal/testkit"
)

// TestDevicesIsQuiet lists the devices of this computer, which may have none. The sound
// libraries must not be heard of.
func TestDevicesIsQuiet(t *testing.T) {
	var devices []Device
	var err error
	var has bool
	printed := testkit.Stderr(t, func() {
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
