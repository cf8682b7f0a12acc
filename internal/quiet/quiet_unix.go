//go:build unix

package quiet

import (
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// limit is how long standard error may be shut at a time; a call that hangs must not take
// it from the rest of the program.
const limit = 2 * time.Second

// Do calls f with standard error shut. The libraries below PortAudio print dozens of
// lines there about devices that are not present. What other goroutines print meanwhile is
// lost as well. Only one call may run at a time.
func Do(f func()) {
	restore := shutStderr()
	defer restore()
	late := time.AfterFunc(limit, restore)
	defer late.Stop()
	f()
}

// shutStderr points file descriptor 2 at nothing and returns what undoes that. If any step
// fails the descriptor stays as it is.
func shutStderr() (restore func()) {
	nothing := func() {}
	kept, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nothing
	}
	null, err := unix.Open("/dev/null", unix.O_WRONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		unix.Close(kept)
		return nothing
	}
	err = unix.Dup2(null, 2)
	unix.Close(null)
	if err != nil {
		unix.Close(kept)
		return nothing
	}
	return sync.OnceFunc(func() {
		unix.Dup2(kept, 2)
		unix.Close(kept)
	})
}
