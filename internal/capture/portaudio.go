//go:build cgo && !nomic

package capture

import (
	"errors"
	"fmt"
	"sync"

	"github.com/gordonklaus/portaudio"

	"tunerd/internal/quiet"
)

// systemControl is the control of this computer's sound system.
var systemControl = sync.OnceValues(func() (*control, error) {
	return newControl(&portAudio{}), nil
})

// portAudio is the driver that stands on the PortAudio library.
type portAudio struct {
	infos []*portaudio.DeviceInfo // as of devices
}

func (p *portAudio) initialize() (err error) {
	quiet.Do(func() { err = portaudio.Initialize() })
	return err
}

func (p *portAudio) terminate() (err error) {
	quiet.Do(func() { err = portaudio.Terminate() })
	return err
}

func (p *portAudio) devices() ([]Device, error) {
	infos, err := portaudio.Devices()
	if err != nil {
		return nil, err
	}
	p.infos = infos
	// These two fail where there is no default, which is no failure.
	input, _ := portaudio.DefaultInputDevice()
	output, _ := portaudio.DefaultOutputDevice()
	devices := make([]Device, len(infos))
	for i, info := range infos {
		d := Device{
			Name: info.Name, HostAPI: info.HostApi.Name,
			MaxInput: info.MaxInputChannels, MaxOutput: info.MaxOutputChannels,
			DefaultRate:  info.DefaultSampleRate,
			LowLatency:   info.DefaultLowInputLatency,
			HighLatency:  info.DefaultHighInputLatency,
			DefaultInput: info == input, DefaultOutput: info == output,
			index: i,
		}
		if d.MaxInput == 0 {
			d.LowLatency, d.HighLatency = info.DefaultLowOutputLatency, info.DefaultHighOutputLatency
		}
		devices[i] = d
	}
	return devices, nil
}

// open takes the device's high latency and a fixed block length: a tuner needs whole samples
// more than early ones, and a length left open makes some systems call at an uneven pace.
func (p *portAudio) open(sp streamParams, deliver deliverFunc) (stream, error) {
	if sp.device.index >= len(p.infos) {
		return nil, errors.New("the device is gone")
	}
	params := portaudio.HighLatencyParameters(p.infos[sp.device.index], nil)
	params.Input.Channels = sp.channels
	params.SampleRate = float64(sp.rate)
	params.FramesPerBuffer = slotFrames
	callback := func(in []float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
		deliver(in, flags&portaudio.InputOverflow != 0)
	}
	var s *portaudio.Stream
	var err error
	quiet.Do(func() {
		s, err = portaudio.OpenStream(params, callback)
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
	return portAudioStream{s}, nil
}

// hostError gives words to errors of the system below PortAudio, which may come without.
func hostError(err error) error {
	if host, ok := err.(portaudio.UnanticipatedHostError); ok && host.Text == "" {
		return fmt.Errorf("the sound system refused it (code %d)", host.Code)
	}
	return err
}

type portAudioStream struct{ s *portaudio.Stream }

func (p portAudioStream) close() (err error) {
	quiet.Do(func() {
		err = p.s.Stop()
		if closeErr := p.s.Close(); err == nil {
			err = closeErr
		}
	})
	return err
}
