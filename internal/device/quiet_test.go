//go:build unix && cgo && !nomic

package device

import (
	"testing"

	"tunerd/internal/testkit"
)

// TestListIsQuiet lists the devices of this computer, which may have none. The sound libraries
// must not be heard of.
func TestListIsQuiet(t *testing.T) {
	var devices []Device
	var err error
	var has bool
	printed := testkit.Stderr(t, func() {
		devices, err = List()
		has = HasMicrophone()
	})
	if err != nil {
		t.Errorf("List: %v", err)
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
}
