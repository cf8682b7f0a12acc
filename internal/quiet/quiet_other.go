//go:build !unix

package quiet

// Do calls f. Elsewhere than on Unix the sound libraries print nothing of their own.
func Do(f func()) { f() }
