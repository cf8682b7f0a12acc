//go:build unix

package testkit

import (
	"io"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// Stderr returns what arrives at file descriptor 2 while f runs.
func Stderr(t testing.TB, f func()) string {
	t.Helper()
	file, err := os.CreateTemp(t.TempDir(), "stderr")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	kept, err := unix.Dup(2)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(kept)
	if err := unix.Dup2(int(file.Fd()), 2); err != nil {
		t.Fatal(err)
	}
	defer unix.Dup2(kept, 2)
	f()
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	printed, err := io.ReadAll(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(printed)
}
