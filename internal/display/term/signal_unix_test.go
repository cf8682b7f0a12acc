//go:build unix

package term

import (
	"os"
	"syscall"
	"testing"
)

// QUIT and ABRT end the process, but the terminal is restored before.
func TestFatalSignalsRestoreTerminal(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGQUIT, syscall.SIGABRT} {
		s := New(Options{})
		var dead syscall.Signal
		var far *terminal
		shown, ended := make(chan struct{}), make(chan struct{})
		s.die = func(of os.Signal) {
			<-shown
			dead = of.(syscall.Signal)
			checkRestored(t, far)
			close(ended)
		}
		term, left := start(t, t.Context(), s)
		far = term
		close(shown)
		if err := syscall.Kill(os.Getpid(), sig); err != nil {
			t.Fatal(err)
		}
		<-left
		<-ended
		if dead != sig {
			t.Errorf("%v: the process ends by %v", sig, dead)
		}
	}
}

func TestSignalsRestoreTerminal(t *testing.T) {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP} {
		term, left := start(t, t.Context(), New(Options{}))
		if err := syscall.Kill(os.Getpid(), sig); err != nil {
			t.Fatal(err)
		}
		if err := <-left; err != nil {
			t.Errorf("%v: Run returned %v", sig, err)
		}
		checkRestored(t, term)
	}
}
