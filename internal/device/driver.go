package device

// A driver is the audio library. Its methods are called from one thread.
type driver interface {
	initialize() error // looks for devices
	devices() ([]Device, error)
	openInput(d Device, f format, deliver deliverFunc) (stream, error)
	openOutput(d Device, f format, fill fillFunc) (stream, error)
	checkOutput(d Device, f format) error // says why the device would not play so
	terminate() error                     // after every stream is closed
}

// A stream is running from when it is opened.
type stream interface {
	close() error // stops it, when all was heard; nothing is delivered or asked for any more after it
}

type format struct {
	channels int
	rate     int // Hz
}

// A deliverFunc takes frames on a thread of the driver. It may not wait, and frames may not be
// kept. overflow tells that samples before or among them were lost.
type deliverFunc func(frames []float32, overflow bool)

// A fillFunc fills frames on a thread of the driver, and may not wait.
type fillFunc func(frames []float32)
