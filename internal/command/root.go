// Package command is the command tree of tunerd: one file for each command, with its options,
// their flags, its constructor and a plain function that runs it. It parses, opens, wires and
// prints; what there is to compute is computed elsewhere.
//
// Results go to standard output, everything else to standard error. Start with [NewRoot], and
// hand the error of its execution to [Report].
package command

import (
	"context"
	"os"

	"github.com/spf13/cobra"

	"tunerd/internal/capture"
	"tunerd/internal/device"
	"tunerd/internal/display/term"
)

// Deps is what the commands take from the world outside, so that tests can give them another.
type Deps struct {
	Open          func(ctx context.Context, spec string, o capture.Options) (capture.Source, error)
	Devices       func() ([]device.Device, error)
	HasMicrophone func() bool
	ScreenUsable  func() bool // standard input and output are a terminal that can show the strobe
	ErrTerminal   func() bool // standard error is a terminal
	// RawInput makes a terminal on standard input give single keys, and returns what undoes that.
	// It is false where there is no terminal. Nil: never.
	RawInput func() (restore func(), ok bool)
}

// NewRoot returns the command tree. Without a command it listens.
func NewRoot(d Deps) *cobra.Command {
	root := newListenCommand(d)
	root.Use = "tunerd"
	root.Short = "Strobe tuner for instruments in any just or equal tuning"
	root.Long = `tunerd is a strobe tuner for instruments in any just or equal tuning, and the bench tool
around it. Without a command it listens, as "tunerd listen" does.

Standard output carries results only. Exit status: 0 done, 1 failed, 2 wrong usage; 143 or 129 for what
SIGTERM or SIGHUP ended before it was done. Ctrl-C, and any of them for "tunerd serve", ends with 0.`
	root.Args = knownCommand
	root.Version = version()
	root.SetVersionTemplate("tunerd {{.Version}}\n")
	root.SilenceUsage, root.SilenceErrors = true, true
	root.SetFlagErrorFunc(flagHint)
	root.SetHelpFunc(func(cmd *cobra.Command, _ []string) { writeHelp(cmd.OutOrStdout(), cmd) })
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) { tellRepeat(cmd) }
	root.AddCommand(
		newListenCommand(d),
		newServeCommand(d),
		newMeasureCommand(d),
		newDevicesCommand(d),
		newClockCommand(d),
		newInstrumentCommand(),
		newUnitsCommand(),
		newFretsCommand(),
		newTuningCommand(),
		newBeatsCommand(d),
		newToneCommand(),
		newIntonationCommand(d),
		newCouplingCommand(d),
		newDetuneCommand(),
		newJournalCommand(d),
		newVersionCommand(),
		newRestoreCommand(),
	)
	guardFiles(root)
	complete(root, d)
	return root
}

// EndsWhenTold tells whether a command goes on until a signal ends it, so that this is no failure of it:
// a service manager counts status 143 of its own SIGTERM as one.
func EndsWhenTold(cmd *cobra.Command) bool { return cmd.Name() == "serve" }

// newRestoreCommand is the process that looks after the terminal of another one; nobody calls it.
func newRestoreCommand() *cobra.Command {
	return &cobra.Command{
		Use:    restoreCommand,
		Hidden: true,
		Args:   usageArgs(cobra.NoArgs),
		RunE:   func(*cobra.Command, []string) error { return term.Restore() },
	}
}

const restoreCommand = "restore-terminal"

// restorerOfTerminal is that command as this program is to be started for it.
func restorerOfTerminal() []string {
	program, err := os.Executable()
	if err != nil {
		return nil
	}
	return []string{program, restoreCommand}
}

// knownCommand refuses what cobra has found to be no command.
func knownCommand(_ *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return hintf(usagef("unknown command %q", args[0]),
		`"tunerd --help" lists the commands; "tunerd measure FILE" reads a recording`)
}
