//go:build !cgo || nomic

package capture

import "errors"

// systemControl has no sound system to offer in this build.
func systemControl() (*control, error) {
	return nil, errors.New("this build has no microphone support: it was made without cgo, " +
		"or with the build tag nomic; recordings, standard input and the demo work")
}
