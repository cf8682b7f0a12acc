//go:build unix

package quiet

import (
	"fmt"
	"os"
	"testing"
	"time"

	"tunerd/internal/testkit"
)

func TestDo(t *testing.T) {
	printed := testkit.Stderr(t, func() {
		fmt.Fprint(os.Stderr, "before ")
		Do(func() { fmt.Fprint(os.Stderr, "during ") })
		fmt.Fprint(os.Stderr, "after")
	})
	if printed != "before after" {
		t.Errorf("printed %q, want %q", printed, "before after")
	}
	printed = testkit.Stderr(t, func() {
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
	printed := testkit.Stderr(t, func() {
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
