package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"tunerd/internal/display"
	"tunerd/internal/display/text"
)

// Exit statuses of the program.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

// A usageError is a wrong flag, argument or value.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// A hintedError carries a second line that says what to do.
type hintedError struct {
	error
	hint string
}

func (e hintedError) Unwrap() error { return e.error }

func hintf(err error, format string, args ...any) error {
	return hintedError{err, fmt.Sprintf(format, args...)}
}

// errReported says that the work failed and that the user has been told so already.
var errReported = errors.New("failed")

// usageArgs makes the complaints of an argument check usage errors.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			if strings.Contains(err.Error(), "arg(s)") { // as the library says that they are too many or too few
				err = fmt.Errorf("%s given; it is written: %s", display.Count(len(args), "argument"), cmd.UseLine())
			}
			return hintf(usageError{err}, `"%s --help" says what is accepted`, cmd.CommandPath())
		}
		return nil
	}
}

// Report writes what err has to say to the user, at most two lines, to w and returns the exit
// status that it means. Silent are nil, the end of the context (the user ended the program) and
// a pipe that its reader has closed.
func Report(w io.Writer, err error) int {
	var usage usageError
	var hinted hintedError
	switch {
	case err == nil, errors.Is(err, context.Canceled), errors.Is(err, syscall.EPIPE):
		return exitDone
	case errors.Is(err, errReported):
		return exitFailed
	}
	fmt.Fprintf(w, "tunerd: error: %s\n", oneLine(err))
	if errors.As(err, &hinted) {
		fmt.Fprintf(w, "tunerd: hint: %s\n", text.Clean(hinted.hint))
	}
	if errors.As(err, &usage) {
		return exitUsage
	}
	return exitFailed
}

// oneLine is what err says, on one line and without characters that a terminal would obey.
func oneLine(err error) string { return text.Clean(strings.Join(strings.Fields(err.Error()), " ")) }
