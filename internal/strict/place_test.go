package strict

import (
	"errors"
	"fmt"
	"testing"
)

const placedTOML = `name = "x"

[frets]
count = 12

[[strings]]
note = "E4" # first
"gauge_mm" = 0.3

[[strings]]
note = "B3"
frets = { steps = [
  2, # two
  4,
  3,
] }
  [strings.more]
  deep = 1
[[chords]]
name = "a"
`

// The lines and columns were counted by hand.
func TestLocate(t *testing.T) {
	for _, c := range []struct {
		path []any
		want string
	}{
		{nil, "f: bad"},
		{[]any{"nowhere"}, "f: bad"},
		{[]any{"name"}, "f:1:1: bad"},
		{[]any{"frets", "count"}, "f:4:1: bad"},
		{[]any{"frets", "every"}, "f:3:2: bad"}, // what it would stand in
		{[]any{"strings"}, "f:6:3: bad"},
		{[]any{"strings", 0, "note"}, "f:7:1: bad"},
		{[]any{"strings", 0, "gauge_mm"}, "f:8:1: bad"},
		{[]any{"strings", 1}, "f:10:3: bad"},
		{[]any{"strings", 1, "note"}, "f:11:1: bad"},
		{[]any{"strings", 1, "frets", "steps"}, "f:12:11: bad"},
		{[]any{"strings", 1, "frets", "steps", 2}, "f:15:3: bad"},
		{[]any{"strings", 1, "more", "deep"}, "f:18:3: bad"},
		{[]any{"strings", 2}, "f:6:3: bad"},
		{[]any{"chords", 0, "frets"}, "f:19:3: bad"},
	} {
		for _, data := range []string{placedTOML, byteOrderMark + placedTOML} {
			if err := Locate("f", []byte(data), At(errors.New("bad"), c.path...)); err.Error() != c.want {
				t.Errorf("%v: %v, want %s", c.path, err, c.want)
			}
		}
	}
	inner := At(errors.New("bad"), "note")
	if err := Locate("f", []byte(placedTOML), At(fmt.Errorf("string 2: %w", inner), "strings", 1)); err.Error() != "f:11:1: string 2: bad" {
		t.Error(err)
	}
	if At(nil, "name") != nil {
		t.Error("no error has a place")
	}
}
