//go:build unix

package quiet

import (
	"fmt"
	"io"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// captureStderr returns what arrives at file descriptor 2 while f runs.
func captureStderr(t *testing.T, f func()) string {
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

func TestDo(t *testing.T) {
	printed := captureStderr(t, func() {
		fmt.Fprint(os.Stderr, "before ")
		Do(func() { fmt.Fprint(os.Stderr, "during ") })
		fmt.Fprint(os.Stderr, "after")
	})
	if printed != "before after" {
		t.Errorf("printed %q, want %q", printed, "before after")
	}
	printed = captureStderr(t, func() {
		defer func() {
			recover()
			fmt.Fprint(os.Stderr, "after a panic")
		}()
		Do(func() { panic("in a call") })
	})
	if printed != "after a panic" {
		t.Errorf("printed %q, want %q", printed, "after a panic")
	}
}

// TestDoLetsGo has a call hang: standard error must come back before it ends.
func TestDoLetsGo(t *testing.T) {
	hang, entered, done := make(chan struct{}), make(chan struct{}), make(chan struct{})
	printed := captureStderr(t, func() {
		go func() {
			defer close(done)
			Do(func() {
				close(entered)
				<-hang
			})
		}()
		<-entered
		time.Sleep(limit + limit/2)
		fmt.Fprint(os.Stderr, "heard")
		close(hang)
		<-done
	})
	if printed != "heard" {
		t.Errorf("printed %q, want %q", printed, "heard")
	}
}
