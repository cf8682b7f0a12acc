package engine

import (
	"strings"
	"testing"

	"tunerd/internal/beats"
)

// Beats on which lines and other partials do not agree are told with both rates, and nobody is sent
// to a peg.
func TestAmbiguousBeatsAreToldWithBoth(t *testing.T) {
	m := beats.Measurement{N: 7, M: 4, Hz: 770, BeatHz: 5, SigmaHz: 0.01, Ambiguous: true, OtherHz: 12, OtherSigmaHz: 0.5}
	said := DisplayBeat(&m, "A2", "G3").String()
	for _, want := range []string{"5.00 ± ", " or 12.0 ± 0.5", "pluck again"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q lacks %q", said, want)
		}
	}
	for _, never := range []string{"wide", "narrow", "up", "down"} {
		for _, word := range strings.Fields(said) {
			if word == never {
				t.Errorf("%q says %q", said, never)
			}
		}
	}
}
