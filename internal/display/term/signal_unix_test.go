//go:build unix

package term

import (
	"os"
	"syscall"
	"testing"
)

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
