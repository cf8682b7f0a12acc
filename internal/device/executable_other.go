//go:build !linux

package device

import "os"

// executable is this program itself.
func executable() (string, error) { return os.Executable() }

func nameProcess() {}
