//go:build linux

package command_test

import (
	"bytes"
	"fmt"
	"os/exec"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/testkit"
)

// output is what a program has written so far.
type output struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}

func (o *output) wait(t *testing.T, text string) {
	t.Helper()
	for range 3000 { // half a minute: what never comes is no reason to wait for the end of all tests
		if strings.Contains(o.String(), text) {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("no %q in %q", text, o.String())
}

// However the program ends, the terminal is left as it was: also by what nobody in it can catch, as a
// panic of a goroutine that nobody watches is, or a fault in a C library. "script" gives it a terminal.
func TestTerminalIsRestoredHoweverTheProgramEnds(t *testing.T) {
	testkit.NeedTool(t, "script", "bsdutils")
	bin := buildProgram(t)
	for sig, status := range map[syscall.Signal]int{
		syscall.SIGTERM: 143, syscall.SIGHUP: 129, syscall.SIGKILL: 137, syscall.SIGQUIT: 2, syscall.SIGABRT: 2, syscall.SIGSEGV: 2,
	} {
		t.Run(sig.String(), func(t *testing.T) {
			if signal.Ignored(sig) {
				t.Skip("these tests were started with nohup, and so would be the program")
			}
			var out output
			cmd := exec.CommandContext(t.Context(), "script", "-qfc",
				"sh -c 'echo pid $$.; TERM=xterm exec "+bin+" listen --input demo'; echo status $?.; while stty -a | grep -q -e -icanon; do sleep 0.1; done; echo end.", "/dev/null")
			cmd.Stdout = &out
			if _, err := cmd.StdinPipe(); err != nil { // open until the end
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			defer cmd.Wait()
			out.wait(t, "quit")
			var pid int
			if _, err := fmt.Sscanf(out.String(), "pid %d.", &pid); err != nil {
				t.Fatalf("%v: %q", err, out.String())
			}
			if err := syscall.Kill(pid, sig); err != nil {
				t.Fatal(err)
			}
			out.wait(t, fmt.Sprintf("status %d.", status))
			out.wait(t, "\x1b[?1049l")
			out.wait(t, "end.")
			all := out.String()
			on, off := strings.LastIndex(all, "\x1b[?1049h"), strings.LastIndex(all, "\x1b[?1049l")
			if on < 0 || off < on {
				t.Errorf("the alternate screen is not left")
			}
			if strings.LastIndex(all, "\x1b[?25h") < strings.LastIndex(all, "\x1b[?25l") {
				t.Errorf("the cursor stays hidden")
			}
		})
	}
}
