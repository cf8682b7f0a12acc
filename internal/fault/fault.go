// Package fault gives an error its kind, so that whoever answers for it decides by the kind and never by its words.
// An error without a kind says that what was given is wrong: a name, a number, a file.
package fault

import (
	"errors"
	"fmt"
)

// A Kind says what failed when nothing that was given is wrong.
type Kind string

const (
	Device  Kind = "device"  // a sound device
	Storage Kind = "storage" // a file that the program keeps: the journal, the table of clocks
)

type fault struct {
	kind Kind
	error
}

func (f *fault) Unwrap() error { return f.error }

// New gives err a kind; its words stay what they are. It returns nil if err is nil.
func New(kind Kind, err error) error {
	if err == nil {
		return nil
	}
	return &fault{kind, err}
}

// Errorf makes an error of a kind, with words as fmt.Errorf makes them.
func Errorf(kind Kind, format string, args ...any) error {
	return &fault{kind, fmt.Errorf(format, args...)}
}

// KindOf returns the kind that was given to err or, first, to what err wraps. Empty: none was.
func KindOf(err error) Kind {
	var f *fault
	if errors.As(err, &f) {
		return f.kind
	}
	return ""
}
