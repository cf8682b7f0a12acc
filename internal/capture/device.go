package capture

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Device is a sound device of this computer.
type Device struct {
	Name          string
	HostAPI       string        // the sound system it belongs to
	MaxInput      int           // channels; 0: no input
	MaxOutput     int           // channels; 0: no output
	DefaultRate   float64       // Hz
	LowLatency    time.Duration // least that it offers for input, or for output if it has no input
	HighLatency   time.Duration // safe against drop-outs
	DefaultInput  bool          // taken when none is named
	DefaultOutput bool

	index int // in the driver's list
}

// Devices lists the sound devices, inputs and outputs. A computer without any has an empty
// list; an error means that the list is not known, as in a build without microphone support.
func Devices() ([]Device, error) {
	ctl, err := systemControl()
	if err != nil {
		return nil, fmt.Errorf("capture: %w", err)
	}
	devices, err := listDevices(ctl)
	if err != nil {
		return nil, fmt.Errorf("capture: list of devices: %w", err)
	}
	return devices, nil
}

func listDevices(ctl *control) ([]Device, error) {
	ctx, cancel := context.WithTimeout(context.Background(), answerLimit)
	defer cancel()
	var list []Device
	err := ctl.do(ctx, func() error {
		if err := ctl.driver.initialize(); err != nil {
			return err
		}
		var err error
		list, err = ctl.driver.devices()
		return cmp.Or(err, ctl.driver.terminate())
	})
	if err != nil {
		return nil, err
	}
	return list, nil
}

// HasMicrophone reports whether there is an input device to listen to. It opens none.
func HasMicrophone() bool {
	devices, err := Devices()
	if err != nil {
		return false
	}
	_, err = chooseInput(devices, "")
	return err == nil
}

// chooseInput finds the input device called name, exactly or else as the only one that has
// name in its name whatever the case. Of several with the same name, which one device seen
// through several sound systems has, the first is taken; "SYSTEM: NAME" tells them apart.
// No name means the default input, or the first one where the system names no default.
func chooseInput(devices []Device, name string) (Device, error) {
	var inputs, similar []Device
	for _, d := range devices {
		if d.MaxInput > 0 {
			inputs = append(inputs, d)
		}
	}
	if len(inputs) == 0 {
		return Device{}, errors.New("no microphone found (this computer shows no sound input)")
	}
	for _, d := range inputs {
		long := d.HostAPI + ": " + d.Name
		switch {
		case name == "" && d.DefaultInput, name == d.Name, name == long:
			return d, nil
		case strings.Contains(strings.ToLower(long), strings.ToLower(name)):
			similar = append(similar, d)
		}
	}
	switch {
	case name == "":
		return inputs[0], nil
	case len(similar) == 0:
		return Device{}, fmt.Errorf("no input device named %q; there are %s", name, nameList(inputs))
	case len(distinctNames(similar)) > 1:
		return Device{}, fmt.Errorf("%q fits several input devices: %s", name, nameList(similar))
	}
	return similar[0], nil
}

func nameList(devices []Device) string {
	return strings.Join(distinctNames(devices), ", ")
}

// distinctNames are the names of devices, quoted, each once.
func distinctNames(devices []Device) []string {
	var names []string
	for _, d := range devices {
		if name := strconv.Quote(d.Name); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}
