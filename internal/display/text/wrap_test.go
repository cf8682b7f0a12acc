package text

import (
	"slices"
	"testing"
)

func TestWrap(t *testing.T) {
	for _, c := range []struct {
		paragraph string
		width     int
		want      []string
	}{
		{"", 10, nil},
		{"ab  cd\nef", 5, []string{"ab cd", "ef"}},
		{"äöü ß", 5, []string{"äöü ß"}}, // characters count, not bytes
		{"a bcdefghij k", 4, []string{"a", "bcdefghij", "k"}},
	} {
		if got := Wrap(c.paragraph, c.width); !slices.Equal(got, c.want) {
			t.Errorf("%q at %d: %q", c.paragraph, c.width, got)
		}
	}
}
