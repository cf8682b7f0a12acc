//go:build unix

package device

import (
	"os"

	"golang.org/x/sys/unix"
)

// claimStdout returns standard output for messages alone, and leads there what libraries may
// print on it to standard error.
func claimStdout() (*os.File, error) {
	fd, err := unix.FcntlInt(1, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nil, err
	}
	if err := unix.Dup2(2, 1); err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), "messages"), nil
}
