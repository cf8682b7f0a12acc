//go:build cgo && !nomic

package device

import (
	"errors"
	"fmt"
	"time"

	"github.com/gordonklaus/portaudio"
)

// playLatency is how far ahead of the ear a device is fed: nobody waits for a tone to the
// millisecond, and a busy computer must not tear holes into it.
const playLatency = 250 * time.Millisecond

// supported is nil where sound devices can be used.
func supported() error { return nil }

// newDriver returns the driver that stands on the PortAudio library.
func newDriver() driver { return &portAudio{} }

type portAudio struct {
	infos []*portaudio.DeviceInfo // as of devices
}

func (p *portAudio) initialize() error { return hostError(portaudio.Initialize()) }
func (p *portAudio) terminate() error  { return hostError(portaudio.Terminate()) }

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

// openInput takes the device's high latency and a fixed block length: a tuner needs whole samples
// more than early ones, and a length left open makes some systems call at an uneven pace.
func (p *portAudio) openInput(d Device, f format, deliver deliverFunc) (stream, error) {
	params := portaudio.HighLatencyParameters(p.infos[d.index], nil)
	params.Input.Channels = f.channels
	params.SampleRate = float64(f.rate)
	params.FramesPerBuffer = BlockLen
	return start(params, func(in []float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
		deliver(in, flags&portaudio.InputOverflow != 0)
	})
}

func (p *portAudio) openOutput(d Device, f format, fill fillFunc) (stream, error) {
	return start(p.outputParams(d, f), (func([]float32))(fill))
}

func (p *portAudio) checkOutput(d Device, f format) error {
	return hostError(portaudio.IsFormatSupported(p.outputParams(d, f), func([]float32) {}))
}

func (p *portAudio) outputParams(d Device, f format) portaudio.StreamParameters {
	params := portaudio.HighLatencyParameters(nil, p.infos[d.index])
	params.Output.Channels = f.channels
	params.Output.Latency = max(params.Output.Latency, playLatency)
	params.SampleRate = float64(f.rate)
	params.FramesPerBuffer = BlockLen
	return params
}

func start(params portaudio.StreamParameters, callback any) (stream, error) {
	s, err := portaudio.OpenStream(params, callback)
	if err != nil {
		return nil, hostError(err)
	}
	if err := s.Start(); err != nil {
		return nil, errors.Join(hostError(err), hostError(s.Close()))
	}
	return portAudioStream{s}, nil
}

type portAudioStream struct{ s *portaudio.Stream }

func (p portAudioStream) close() error {
	return errors.Join(hostError(p.s.Stop()), hostError(p.s.Close()))
}

// hostError gives words to errors of the system below PortAudio, which may come without.
func hostError(err error) error {
	if host, ok := err.(portaudio.UnanticipatedHostError); ok && host.Text == "" {
		return fmt.Errorf("the sound system refused it (code %d)", host.Code)
	}
	return err
}
