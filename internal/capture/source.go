// Package capture delivers mono samples, with their position, from a microphone, a recording,
// standard input or the built-in demo signal.
//
// Samples are float64 with full scale at 1. Every block carries the index of its first sample
// on the source's own clock, so that lost samples show as a jump and are never bridged.
// Start with [Open]; what the samples mean is left to others.
package capture

import (
	"context"
	"errors"
)

// ErrDeviceLost says that a live device stopped delivering. The source stays usable: the next
// Read waits until the device is back and then continues behind a gap.
var ErrDeviceLost = errors.New("the audio device stopped delivering")

// A Block is what one Read delivered.
type Block struct {
	Samples []float64 // the filled front part of the slice given to Read; full scale is 1
	Start   int64     // index of Samples[0] since the source was opened, lost samples counted
	Lost    int64     // samples known to be lost just before Samples[0]; at least 1 after any break
}

// A Source delivers the samples of one channel (or of the mix) in order.
//
// A Source serves one goroutine; only Close may be called from another one, and it ends a
// Read that is waiting.
type Source interface {
	// Name says what the samples come from, for people: a file name, a device, "demo".
	Name() string
	// SampleRate is in Hz and does not change.
	SampleRate() int
	// Live reports whether samples arrive in real time (a device, or the demo when paced).
	Live() bool
	// Read fills dst, or a front part of it, waiting for at least one sample. io.EOF ends a
	// recording. ErrDeviceLost is not final: see there. Any other error is.
	Read(ctx context.Context, dst []float64) (Block, error)
	Close() error
}

// Waits reports whether s waits for its reader, so that a reader that is late loses nothing: by what
// s tells by a method Waits, as a recording played in real time does, or else whenever it is not live.
func Waits(s Source) bool {
	if w, ok := s.(interface{ Waits() bool }); ok {
		return w.Waits()
	}
	return !s.Live()
}

// TrueRate returns the sample rate of s, in Hz, as well as it is known: what s tells by a method
// TrueRate, as clock.Correct makes it, or else what it calls its sample rate.
func TrueRate(s Source) float64 {
	if t, ok := s.(interface{ TrueRate() float64 }); ok {
		return t.TrueRate()
	}
	return float64(s.SampleRate())
}
