//go:build unix

package term

import (
	"os"
	"os/exec"
	"os/signal"
	"syscall"
)

// ignoredByRestorer are what must not end or stop the restorer before its time: what the terminal sends to
// all, and what it sends to those in the background that write to it.
var ignoredByRestorer = []os.Signal{
	syscall.SIGINT, syscall.SIGQUIT, syscall.SIGHUP, syscall.SIGTERM, syscall.SIGTSTP, syscall.SIGTTOU, syscall.SIGTTIN, syscall.SIGPIPE,
}

// apart keeps from the restorer what the terminal sends to the program.
func apart(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

// fatalSignals end a program with a dump of its goroutines, or of its memory.
var fatalSignals = []os.Signal{syscall.SIGQUIT, syscall.SIGABRT}

// dieOf ends the process by a signal as if nobody had caught it.
func dieOf(s os.Signal) {
	signal.Reset(s)
	if n, ok := s.(syscall.Signal); ok {
		_ = syscall.Kill(syscall.Getpid(), n)
	}
}
