package targets

import (
	"slices"
	"strings"
	"testing"
)

// Every note has a number of its own, and no number is cut to fit.
func TestParseChordNumbers(t *testing.T) {
	for text, want := range map[string][]int{"4:5:6:7": {4, 5, 6, 7}, " 3:2 ": {3, 2}, "1000000:1": {1000000, 1}} {
		if got, err := ParseChordNumbers(text, len(want)); err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for text, want := range map[string]string{
		"4:5":                      "2 parts for 3 notes",
		"":                         "no part of a chord",
		"4:5:x":                    "no part of a chord",
		"4:5:-6":                   "no part of a chord",
		"4:0:6":                    "no part of a chord",
		"4:5, 6":                   "no part of a chord",
		"4:5:1000001":              "1000001 is more than 1000000",
		"4:5:10000000":             "10000000 is more than 1000000",
		"4:5:18446744073709551616": "no part of a chord",
	} {
		if got, err := ParseChordNumbers(text, 3); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, %v; want an error with %q", text, got, err, want)
		}
	}
}
