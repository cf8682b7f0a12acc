package capture

import "log/slog"

// Options say how a source is opened. The zero value opens any source in its plainest way.
type Options struct {
	Channel    int          // 1..n picks a channel, 0 mixes all of them (their mean)
	SampleRate int          // Hz, for devices and headerless input; 0: the device's own, or 48000
	Channels   int          // of headerless input; 0: 1
	Raw        string       // sample format of headerless standard input: s16le, s24le, s32le, f32le; "": it has a header
	Paced      bool         // demo and recordings at real-time speed instead of as fast as they are read
	Log        *slog.Logger // notes about damaged input; nil: none
}
