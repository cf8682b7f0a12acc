//go:build !unix && cgo && !nomic

package capture

// quietly calls f. Elsewhere than on Unix the sound libraries print nothing of their own.
func quietly(f func()) { f() }
