//go:build cgo && !nomic

package play

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/gordonklaus/portaudio"

	"tunerd/internal/quiet"
)

// frames is how many frames a device asks for at a time: a length left open makes some systems
// call at an uneven pace.
const frames = 512

// latency is how far ahead of the ear a device is fed: nobody waits for a tone to the millisecond,
// and a busy computer must not tear holes into it.
const latency = 250 * time.Millisecond

// Open opens the output device whose name is, or contains, name; "" is the default one. The
// sample rate is wanted, or the device's own if it does not take that. Only one player may be open
// at a time, and no input.
func Open(name string, wanted int) (*Player, error) {
	var err error
	quiet.Do(func() { err = portaudio.Initialize() })
	if err != nil {
		return nil, fmt.Errorf("play: %w", err)
	}
	p, err := openDevice(name, wanted)
	if err != nil {
		terminate()
		return nil, fmt.Errorf("play: %w", err)
	}
	return p, nil
}

func terminate() (err error) {
	quiet.Do(func() { err = portaudio.Terminate() })
	return err
}

func openDevice(name string, wanted int) (*Player, error) {
	device, err := chooseOutput(name)
	if err != nil {
		return nil, err
	}
	params := portaudio.HighLatencyParameters(nil, device)
	params.Output.Channels = min(2, device.MaxOutputChannels)
	params.Output.Latency = max(params.Output.Latency, latency)
	params.FramesPerBuffer = frames
	for _, rate := range []float64{float64(wanted), device.DefaultSampleRate} {
		params.SampleRate = rate
		quiet.Do(func() { err = portaudio.IsFormatSupported(params, func([]float32) {}) })
		if err == nil {
			return &Player{name: device.Name, rate: int(rate), end: terminate,
				start: func(fill func([]float32, int)) (stream, error) { return start(params, fill) }}, nil
		}
	}
	return nil, fmt.Errorf("%s takes neither %d nor %g samples a second: %w", device.Name, wanted, device.DefaultSampleRate, hostError(err))
}

// chooseOutput finds a device by its name or a part of it, whatever the case.
func chooseOutput(name string) (*portaudio.DeviceInfo, error) {
	devices, err := portaudio.Devices()
	if err != nil {
		return nil, err
	}
	if name == "" {
		if d, err := portaudio.DefaultOutputDevice(); err == nil {
			return d, nil
		}
	}
	var similar []*portaudio.DeviceInfo
	var names []string
	for _, d := range devices {
		switch {
		case d.MaxOutputChannels == 0:
			continue
		case name == d.Name:
			return d, nil
		case strings.Contains(strings.ToLower(d.Name), strings.ToLower(name)):
			similar = append(similar, d)
		}
		names = append(names, fmt.Sprintf("%q", d.Name))
	}
	switch {
	case len(names) == 0:
		return nil, errors.New("no loudspeaker found (this computer shows no sound output)")
	case name == "" || len(similar) == 1:
		return similar[0], nil
	case len(similar) == 0:
		return nil, fmt.Errorf("no output device named %q; there are %s", name, strings.Join(names, ", "))
	}
	return nil, fmt.Errorf("%q fits several output devices of %s", name, strings.Join(names, ", "))
}

// hostError gives words to errors of the system below PortAudio, which may come without.
func hostError(err error) error {
	if host, ok := err.(portaudio.UnanticipatedHostError); ok && host.Text == "" {
		return fmt.Errorf("the sound system refused it (code %d)", host.Code)
	}
	return err
}

func start(params portaudio.StreamParameters, fill func([]float32, int)) (stream, error) {
	channels := params.Output.Channels
	var s *portaudio.Stream
	var err error
	quiet.Do(func() {
		s, err = portaudio.OpenStream(params, func(out []float32) { fill(out, channels) })
		if err != nil {
			return
		}
		if err = s.Start(); err != nil {
			s.Close()
		}
	})
	if err != nil {
		return nil, hostError(err)
	}
	return output{s}, nil
}

type output struct{ s *portaudio.Stream }

func (o output) close() (err error) {
	quiet.Do(func() {
		err = o.s.Stop()
		if closeErr := o.s.Close(); err == nil {
			err = closeErr
		}
	})
	return hostError(err)
}
