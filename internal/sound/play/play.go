// Package play plays samples through the loudspeaker. A build without sound devices refuses.
//
// A sound starts and stops without a click and is never louder than [MaxPeak]. Start with [Open].
package play

import (
	"context"
	"errors"
	"math"
	"sync/atomic"
	"time"

	"tunerd/internal/fault"
)

// MaxPeak is the highest absolute sample that is played, 6 dB below full scale. Louder sound is
// turned down as a whole.
const MaxPeak = 0.5

const (
	leadIn     = 0.1             // s of silence before a sound: some devices lose what they get first
	leadOut    = 1.0             // s of silence after it, longer than what waits in process and device (0.4 and 0.25 s), to push it through
	stopFade   = 0.030           // s, of a sound that is broken off
	lostLimit  = 3 * time.Second // a device that asks for nothing for so long is lost; some work in steps of 2 s
	closeLimit = 4 * time.Second // how long the end of a stream is waited for
	pollPause  = 20 * time.Millisecond
)

// A feeder hands a sound to a device piece by piece. fill is called on a goroutine of the device's,
// stop from anywhere.
type feeder struct {
	samples []float64
	next    int       // negative during the lead-in
	fade    []float64 // gains of the last samples once stop was called; what is left of them
	stopped atomic.Bool
	calls   atomic.Int64  // of fill
	done    chan struct{} // closed when the lead-out is over
	rest    int           // samples of the lead-out that are left
}

// newFeeder keeps samples within MaxPeak. It does not change them.
func newFeeder(samples []float64, sampleRate float64) (*feeder, error) {
	peak := 0.0
	for _, x := range samples {
		if math.IsNaN(x) {
			return nil, errors.New("the sound is not a number somewhere")
		}
		peak = max(peak, math.Abs(x))
	}
	if peak > MaxPeak {
		quieter := make([]float64, len(samples))
		for i, x := range samples {
			quieter[i] = x * MaxPeak / peak
		}
		samples = quieter
	}
	fade := make([]float64, int(stopFade*sampleRate))
	for i := range fade {
		fade[i] = (1 + math.Cos(math.Pi*float64(i+1)/float64(len(fade)))) / 2
	}
	return &feeder{samples: samples, next: -int(leadIn * sampleRate), rest: int(leadOut * sampleRate), fade: fade, done: make(chan struct{})}, nil
}

// stop has the sound fade out.
func (f *feeder) stop() { f.stopped.Store(true) }

// fill writes the next frames of so many channels, all alike, and silence after the end. It
// neither waits nor allocates.
func (f *feeder) fill(out []float32, channels int) {
	f.calls.Add(1)
	stopped := f.stopped.Load()
	for i := 0; i+channels <= len(out); i += channels {
		x := float32(f.sample(stopped))
		for c := range channels {
			out[i+c] = x
		}
	}
}

func (f *feeder) sample(stopped bool) float64 {
	if f.next >= len(f.samples) || stopped && len(f.fade) == 0 {
		if f.rest--; f.rest == 0 {
			close(f.done)
		}
		return 0
	}
	x := 0.0
	if f.next >= 0 {
		x = f.samples[f.next]
	}
	f.next++
	if stopped {
		x *= f.fade[0]
		f.fade = f.fade[1:]
	}
	return x
}

// A stream is a running output.
type stream interface {
	close() error
}

// A Player is an open sound device, for one sound. It serves one goroutine.
type Player struct {
	name  string
	rate  int
	start func(fill func(out []float32, channels int)) (stream, error)
	end   func() error
}

// Name is that of the device.
func (p *Player) Name() string { return p.name }

// SampleRate is that at which the device takes samples, in Hz.
func (p *Player) SampleRate() int { return p.rate }

// Close gives the device back.
func (p *Player) Close() error { return p.end() }

// Play plays samples at the player's sample rate and returns when they have been heard. If ctx
// ends first the sound fades out at once and Play returns ctx's error.
func (p *Player) Play(ctx context.Context, samples []float64) error {
	f, err := newFeeder(samples, float64(p.rate))
	if err != nil {
		return err
	}
	s, err := p.start(f.fill)
	if err != nil {
		return fault.Errorf(fault.Device, "%s: %w", p.name, err)
	}
	err = f.wait(ctx)
	closed := make(chan error, 1)
	go func() { closed <- s.close() }()
	select {
	case closeErr := <-closed:
		if err == nil && closeErr != nil {
			err = fault.Errorf(fault.Device, "%s: %w", p.name, closeErr)
		}
	case <-time.After(closeLimit):
		err = fault.Errorf(fault.Device, "%s does not answer", p.name)
	}
	return err
}

// wait returns when everything has been handed over.
func (f *feeder) wait(ctx context.Context) error {
	var calls int64
	last := time.Now()
	ended := ctx.Done()
	for {
		select {
		case <-f.done:
			return ctx.Err()
		case <-ended:
			f.stop()
			ended = nil
		case <-time.After(pollPause):
		}
		if now := f.calls.Load(); now != calls {
			calls, last = now, time.Now()
		}
		if time.Since(last) > lostLimit {
			return fault.Errorf(fault.Device, "the sound device takes no sound any more")
		}
	}
}
