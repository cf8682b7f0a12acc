package device

import (
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

// A direction is the part of a device that is looked for.
type direction struct {
	word, none string // for people
	has        func(Device) bool
	isDefault  func(Device) bool
}

var (
	input = direction{
		"input", "no microphone found (this computer shows no sound input)",
		func(d Device) bool { return d.MaxInput > 0 }, func(d Device) bool { return d.DefaultInput },
	}
	output = direction{
		"output", "no loudspeaker found (this computer shows no sound output)",
		func(d Device) bool { return d.MaxOutput > 0 }, func(d Device) bool { return d.DefaultOutput },
	}
)

// choose finds the device called name, exactly or else as the only one that has name in its name
// whatever the case. Of several with the same name, which one device seen through several sound
// systems has, the first is taken; "SYSTEM: NAME" tells them apart. No name means the default
// one, or the first where the system names no default.
func (way direction) choose(devices []Device, name string) (Device, error) {
	var fit, similar []Device
	for _, d := range devices {
		if way.has(d) {
			fit = append(fit, d)
		}
	}
	if len(fit) == 0 {
		return Device{}, errors.New(way.none)
	}
	for _, d := range fit {
		long := d.HostAPI + ": " + d.Name
		switch {
		case name == "" && way.isDefault(d), name == d.Name, name == long:
			return d, nil
		case strings.Contains(strings.ToLower(long), strings.ToLower(name)):
			similar = append(similar, d)
		}
	}
	switch {
	case name == "":
		return fit[0], nil
	case len(similar) == 0:
		return Device{}, fmt.Errorf("no %s device named %q; there are %s", way.word, name, nameList(fit))
	case len(distinctNames(similar)) > 1:
		return Device{}, fmt.Errorf("%q fits several %s devices: %s", name, way.word, nameList(similar))
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
