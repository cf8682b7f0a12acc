//go:build !cgo || nomic

package device

import "errors"

// supported says why this build has no sound devices.
func supported() error {
	return errors.New("this build has no microphone support: it was made without cgo, " +
		"or with the build tag nomic; recordings, standard input and the demo work")
}

// newDriver returns a driver that has nothing to offer.
func newDriver() driver { return noDriver{} }

type noDriver struct{}

func (noDriver) initialize() error                                     { return supported() }
func (noDriver) terminate() error                                      { return nil }
func (noDriver) devices() ([]Device, error)                            { return nil, supported() }
func (noDriver) openInput(Device, format, deliverFunc) (stream, error) { return nil, supported() }
func (noDriver) openOutput(Device, format, fillFunc) (stream, error)   { return nil, supported() }
func (noDriver) checkOutput(Device, format) error                      { return supported() }
