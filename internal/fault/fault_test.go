package fault

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"
)

// A kind is found through whatever is said around it, and changes neither words nor what is wrapped.
func TestKindOf(t *testing.T) {
	err := fmt.Errorf("session 3: %w", New(Storage, fmt.Errorf("a.db: %w", fs.ErrPermission)))
	if got := KindOf(err); got != Storage {
		t.Errorf("kind %q", got)
	}
	if want := "session 3: a.db: permission denied"; err.Error() != want {
		t.Errorf("%q, want %q", err, want)
	}
	if !errors.Is(err, fs.ErrPermission) {
		t.Error("what was wrapped is lost")
	}
	if got := KindOf(Errorf(Device, "%s does not answer", "hw:1")); got != Device {
		t.Errorf("kind %q", got)
	}
	if got := KindOf(fs.ErrPermission); got != "" {
		t.Errorf("kind %q of an error without one", got)
	}
	if New(Device, nil) != nil {
		t.Error("a kind made an error of none")
	}
}
