package capture

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"

	"tunerd/internal/sampling"
)

// discard is the logger of a source opened without one.
var discard = slog.New(slog.DiscardHandler)

// Options say how a source is opened. The zero value opens any source in its plainest way.
type Options struct {
	Channel    int          // 1..n picks a channel, 0 mixes all of them (their mean)
	SampleRate int          // Hz, for devices and headerless input; 0: the device's own, or 48000
	Channels   int          // of headerless input; 0: 1
	Raw        string       // sample format of headerless standard input: s16le, s24le, s32le, f32le; "": it has a header
	Paced      bool         // demo and recordings at real-time speed instead of as fast as they are read
	Log        *slog.Logger // notes about damaged input and lost devices; nil: none
}

// Open opens the source that spec names:
//
//	demo       the built-in demo signal
//	-          standard input, a WAV or FLAC stream or, with o.Raw, bare samples
//	PATH       a WAV or FLAC recording, told apart by its content
//
// Input devices are opened by package mic, which opens all of these, too.
//
// The sample rate must lie between 8000 and 192000 Hz. Open gives up when ctx ends; a source
// that is open already lives until Close.
func Open(ctx context.Context, spec string, o Options) (Source, error) {
	if o.Log == nil {
		o.Log = discard
	}
	if err := o.Check(spec); err != nil {
		return nil, err
	}
	src, err := openSpec(ctx, spec, o)
	if err != nil {
		return nil, err
	}
	if o.Paced && !src.Live() {
		src = newPaced(src)
	}
	return src, nil
}

func openSpec(ctx context.Context, spec string, o Options) (Source, error) {
	_, isMic := Microphone(spec)
	switch {
	case isMic:
		return nil, fmt.Errorf("%s: no input device is opened here", spec)
	case spec == "demo":
		return openDemo(o)
	case spec == "-":
		return openStream(ctx, "standard input", os.Stdin, o)
	default:
		return openPath(ctx, spec, o)
	}
}

// Microphone tells whether spec is an input device, "mic" or "mic:NAME", and its name; empty is the default one.
func Microphone(spec string) (name string, is bool) {
	name, named := strings.CutPrefix(spec, "mic:")
	if named {
		return name, true
	}
	return "", spec == "mic"
}

// Check refuses options that no source could follow.
func (o Options) Check(spec string) error {
	switch {
	case spec == "":
		return errors.New("no input named; give mic, mic:NAME, demo, - or a file")
	case o.Channel < 0 || o.Channel > maxChannels:
		return fmt.Errorf("channel %d is outside 1-%d (0 mixes all)", o.Channel, maxChannels)
	case o.Channels < 0 || o.Channels > maxChannels:
		return fmt.Errorf("%d channels is outside 1-%d", o.Channels, maxChannels)
	case o.Raw != "" && spec != "-":
		return fmt.Errorf("%s: bare samples (%s) are read from standard input (-) only", spec, o.Raw)
	case o.SampleRate != 0:
		return checkSampleRate(o.SampleRate)
	}
	return nil
}

func checkSampleRate(hz int) error {
	if hz < sampling.MinRate || hz > sampling.MaxRate {
		return fmt.Errorf("sample rate %d Hz is outside %d-%d Hz", hz, sampling.MinRate, sampling.MaxRate)
	}
	return nil
}
