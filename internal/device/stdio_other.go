//go:build !unix

package device

import "os"

// claimStdout returns standard output. Elsewhere than on Unix the libraries print nothing there.
func claimStdout() (*os.File, error) { return os.Stdout, nil }
