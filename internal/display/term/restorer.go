package term

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"runtime/debug"

	xterm "golang.org/x/term"
)

// The program may end where nothing of it can clean up any more: by a panic of a goroutine that nobody
// watches, a fault in a C library, or SIGKILL. So a restorer waits in a process of its own, with a pipe
// whose other end closes when the program ends, however that happens. Unless it was sent away before,
// it then restores the terminal, and passes on what the program said of its crash, which went down
// with the screen.

// leaveScreen undoes what a screen has set, whether or not it was set: styles, alternate screen, hidden
// cursor, bracketed paste, mouse, keyboard protocols, title stack (xterm control sequences).
const leaveScreen = "\x1b[m\x1b[?2004l\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[<u\x1b[>4m\x1b[?1049l\x1b[?25h\r"

// dismissed tells the restorer that nothing is left to be done.
const dismissed = "done\n"

// A restorer is a process that waits for the end of this one.
type restorer struct {
	process *exec.Cmd
	line    *os.File // its end closes with this process
}

// startRestorer starts the command as a restorer; it is to call Restore. The restorer knows the state of the
// terminal when startRestorer returns.
func startRestorer(command []string) (*restorer, error) {
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer read.Close()
	g := &restorer{process: exec.Command(command[0], command[1:]...), line: write}
	g.process.Stdin, g.process.Stdout = os.Stdin, os.Stdout
	g.process.Stderr, g.process.ExtraFiles = os.Stderr, []*os.File{read}
	apart(g.process)
	readyRead, readyWrite, err := os.Pipe()
	if err != nil {
		write.Close()
		return nil, err
	}
	defer readyRead.Close()
	g.process.ExtraFiles = append(g.process.ExtraFiles, readyWrite)
	err = g.process.Start()
	readyWrite.Close()
	if err != nil {
		write.Close()
		return nil, err
	}
	if _, err := readyRead.Read(make([]byte, 1)); err != nil {
		g.dismiss()
		return nil, errors.New("the restorer of the terminal did not start")
	}
	return g, debug.SetCrashOutput(write, debug.CrashOptions{})
}

// dismiss sends the restorer away.
func (g *restorer) dismiss() {
	_ = debug.SetCrashOutput(nil, debug.CrashOptions{})
	_, _ = g.line.WriteString(dismissed)
	_ = g.line.Close()
	_ = g.process.Wait()
}

// Restore waits for the end of the process that started this one as its restorer, and then restores the
// terminal on standard input and output if that process could not.
func Restore() error {
	signal.Ignore(ignoredByRestorer...)
	line, ready := os.NewFile(3, "line"), os.NewFile(4, "ready")
	state, err := xterm.GetState(int(os.Stdin.Fd()))
	if err != nil {
		return fmt.Errorf("no terminal to restorer: %w", err)
	}
	if _, err := ready.Write([]byte{'.'}); err != nil {
		return fmt.Errorf("nobody to restorer a terminal for: %w", err)
	}
	_ = ready.Close()
	said, err := io.ReadAll(io.LimitReader(line, 1<<20))
	if err != nil || bytes.HasSuffix(said, []byte(dismissed)) {
		return err
	}
	_, _ = io.Copy(io.Discard, line)
	_, _ = os.Stdout.WriteString(leaveScreen)
	err = xterm.Restore(int(os.Stdin.Fd()), state)
	_, _ = os.Stderr.Write(said)
	return err
}
