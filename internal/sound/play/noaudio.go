//go:build !cgo || nomic

package play

import "errors"

// Open has no sound system to offer in this build.
func Open(string, int) (*Player, error) {
	return nil, errors.New("play: this build cannot play: it was made without cgo, or with the build tag nomic")
}
