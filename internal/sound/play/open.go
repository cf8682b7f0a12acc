package play

import (
	"tunerd/internal/device"
	"tunerd/internal/fault"
)

// Open opens the output device whose name is, or contains, name; "" is the default one. The
// sample rate is wanted, or the device's own if it does not take that.
func Open(name string, wanted int) (*Player, error) {
	d, err := device.Play(name, wanted)
	if err != nil {
		return nil, fault.New(fault.Device, err)
	}
	start := func(fill func([]float32, int)) (stream, error) {
		return speaker{d}, d.Start(func(samples []float32) { fill(samples, 1) })
	}
	return &Player{name: d.Name(), rate: d.SampleRate(), start: start, end: d.Close}, nil
}

// A speaker is a device that plays.
type speaker struct{ *device.Player }

func (s speaker) close() error { return s.Close() }
