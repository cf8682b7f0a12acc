package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/capture"
)

// sourceOptions say how an input is read.
type sourceOptions struct {
	channel  int
	rate     int
	raw      string
	channels int
	clock    clockFlag
}

func (o *sourceOptions) addFlags(fs *pflag.FlagSet) {
	o.addInputFlags(fs)
	fs.Var(&o.clock, "clock", "the sound card is fast by `PPM`, for which readings are corrected; auto takes what\n\"tunerd clock\" has measured of a microphone, none corrects nothing")
}

// addInputFlags adds the flags that say how samples are read.
func (o *sourceOptions) addInputFlags(fs *pflag.FlagSet) {
	fs.IntVar(&o.channel, "channel", 0, "take channel `N` (from 1) instead of the mean of all")
	fs.IntVar(&o.rate, "rate", 0, "sample rate in `HZ` of the device, or of --raw input (default: the device's own, 48000)")
	fs.StringVar(&o.raw, "raw", "", "standard input is bare samples of this `FORMAT`: s16le, s24le, s32le or f32le")
	fs.IntVar(&o.channels, "raw-channels", 0, "--raw input has `N` channels, one sample of each in turn (default 1)")
}

func (o *sourceOptions) options(paced bool, log *slog.Logger) capture.Options {
	return capture.Options{
		Channel: o.channel, SampleRate: o.rate, Raw: o.raw, Channels: o.channels, Paced: paced, Log: log,
	}
}

// open opens an input; the source knows the error of its clock.
func (o *sourceOptions) open(ctx context.Context, d Deps, input string, paced bool, log *slog.Logger) (capture.Source, error) {
	source, err := d.Open(ctx, input, o.options(paced, log))
	if err != nil {
		return nil, inputError(err, input)
	}
	corrected, err := o.clock.correct(input, source)
	if err != nil {
		source.Close()
		return nil, err
	}
	return corrected, nil
}

// addRangeFlags adds the flags for the range of pitches that are looked for.
func addRangeFlags(fs *pflag.FlagSet, minHz, maxHz *float64) {
	fs.Float64Var(minHz, "min-hz", 0, "lowest pitch to look for, in `HZ` (default 25)")
	fs.Float64Var(maxHz, "max-hz", 0, "highest pitch to look for, in `HZ` (default 5000)")
}

// inputArgs is for commands without arguments, that take their sound from --input.
func inputArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return hintf(usagef("%q stands where no argument does", args[0]), "a recording is named with --input: %s --input %s", cmd.CommandPath(), args[0])
}

// compressed are endings of files whose sound is compressed with loss, which are not read.
var compressed = []string{".mp3", ".m4a", ".aac", ".ogg", ".opus", ".wma", ".webm", ".mp4"}

// inputError adds to the error of opening an input what may help.
func inputError(err error, input string) error {
	ending := strings.ToLower(filepath.Ext(input))
	switch {
	case slices.Contains(compressed, ending) && !isNotExist(err):
		return hintf(err, "this line converts it: ffmpeg -i %s %s", input, strings.TrimSuffix(input, filepath.Ext(input))+".wav")
	case errors.Is(err, context.Canceled):
		return err
	case isMicrophone(input):
		return hintf(err, `"tunerd devices" lists the microphones; --input demo needs none`)
	}
	return err
}

// chatLogger writes the remarks of other packages as lines of chatter.
func chatLogger(w io.Writer) *slog.Logger {
	return slog.New(&chatHandler{w: w})
}

// tellRefusals returns what tells log why what sounds is not taken for a note.
func tellRefusals(log *slog.Logger) func(atS float64, reason string) {
	return func(atS float64, reason string) { log.Info(fmt.Sprintf("%.2f s: no note: %s", atS, reason)) }
}

// A chatHandler writes "tunerd: message" and leaves out time and level.
type chatHandler struct {
	mu sync.Mutex
	w  io.Writer
}

func (h *chatHandler) Enabled(_ context.Context, level slog.Level) bool {
	return level >= slog.LevelInfo
}

func (h *chatHandler) Handle(_ context.Context, r slog.Record) error {
	line := "tunerd: " + r.Message
	r.Attrs(func(a slog.Attr) bool {
		line += " " + a.String()
		return true
	})
	h.mu.Lock()
	defer h.mu.Unlock()
	_, err := io.WriteString(h.w, line+"\n")
	return err
}

func (h *chatHandler) WithAttrs([]slog.Attr) slog.Handler { return h }
func (h *chatHandler) WithGroup(string) slog.Handler      { return h }
