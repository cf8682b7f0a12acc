// Package evidence tests the whole of tunerd against the outside: recordings of real instruments
// whose pitch other methods found, two independent pitch readers (Praat and aubio), and the
// promises on imports, memory and speed. It holds tests only.
//
// The recordings and how their reference was found are described in testdata/wav/README.md.
// A tool that is missing skips its test, with the package to install; with TUNERD_CI=1 in the
// environment it fails instead.
package evidence
