// Command tunerd is a strobe tuner for instruments in any just or equal tuning.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"

	"golang.org/x/term"

	"tunerd/internal/capture/mic"
	"tunerd/internal/command"
	"tunerd/internal/device"
	screen "tunerd/internal/display/term"
	"tunerd/internal/display/text"
)

func main() {
	device.ServeIfAsked()
	os.Exit(run())
}

func run() int {
	// A reader that has gone, as in "tunerd ... | head", is told by an error of the write.
	signal.Ignore(syscall.SIGPIPE)
	told := []os.Signal{syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as nohup has it
		told = append(told, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), append(told, os.Interrupt)...)
	defer stop()
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, told...)
	context.AfterFunc(ctx, func() { // a second signal ends the program at once
		stop()
		signal.Stop(asked)
	})
	root := command.NewRoot(command.Deps{
		Open:          mic.Open,
		Devices:       device.List,
		HasMicrophone: device.HasMicrophone,
		ScreenUsable:  screen.Usable,
		ErrTerminal:   func() bool { return term.IsTerminal(int(os.Stderr.Fd())) },
		RawInput:      rawInput,
	})
	chat := guarded(os.Stderr)
	root.SetOut(guarded(os.Stdout))
	root.SetErr(chat)
	cmd, err := root.ExecuteContextC(ctx)
	status := command.Report(chat, err)
	if status == 0 && len(asked) > 0 && !command.EndsWhenTold(cmd) {
		if s, ok := (<-asked).(syscall.Signal); ok {
			return 128 + int(s) // as a shell tells of a program that ended so
		}
	}
	return status
}

// guarded is f, but where f is a terminal, no text from a file or a device can steer it, and it knows its width.
func guarded(f *os.File) io.Writer {
	if term.IsTerminal(int(f.Fd())) {
		return text.NewGuard(f).Sized(func() int {
			columns, _, err := term.GetSize(int(f.Fd()))
			if err != nil {
				return 0
			}
			return columns
		})
	}
	return f
}

// rawInput makes the terminal on standard input, if there is one, give single keys.
func rawInput() (restore func(), ok bool) {
	fd := int(os.Stdin.Fd())
	state, err := term.MakeRaw(fd)
	if err != nil {
		return func() {}, false
	}
	return func() { _ = term.Restore(fd, state) }, true
}
