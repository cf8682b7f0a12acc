package capture

import "errors"

// openDemo opens the built-in demo signal.
func openDemo(Options) (Source, error) {
	return nil, errors.New("the demo signal is not built in yet")
}
