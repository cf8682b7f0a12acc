package text

import (
	"bytes"
	"testing"
)

func TestGuardLetsNothingHiddenThrough(t *testing.T) {
	const in, want = "A♭ \u202etrail\x1b[2J\tx\r\n\u009bé\xff.", "A♭ ·trail·[2J\tx\r\n·é\ufffd."
	var whole, split bytes.Buffer
	if n, err := NewGuard(&whole).Write([]byte(in)); n != len(in) || err != nil || whole.String() != want {
		t.Errorf("%d, %v: %q, want %q", n, err, whole.String(), want)
	}
	g := NewGuard(&split)
	for i := range len(in) {
		if n, err := g.Write([]byte{in[i]}); n != 1 || err != nil {
			t.Fatal(n, err)
		}
	}
	if split.String() != want {
		t.Errorf("byte by byte %q, want %q", split.String(), want)
	}
	if Unguarded(g) != &split || Unguarded(&whole) != &whole {
		t.Error("what is guarded is not given back")
	}
}
