package detune

import (
	"errors"
	"testing"
)

// Parts given from the wrong end start an octave and more off, and are refused unless that is meant;
// an ordinary shape, off by the errors of equal steps, is not. E2 to E4 of a guitar are two octaves.
func TestChordThatStartsFarOffIsRefused(t *testing.T) {
	in := builtin(t, "guitar-12edo")
	p := Problem{Instrument: in, Chords: chordsOf(t, in, "022100 as 16:10:8:6:5:4")}
	var far *FarError
	if _, err := Solve(p); !errors.As(err, &far) {
		t.Fatalf("%v, want a FarError", err)
	}
	if far.Low != 6 || far.High != 1 || far.Cents != 4800 { // two octaves up instead of two down
		t.Errorf("%+v", far)
	}
	p.AcceptFar = true
	solve(t, p)
	solve(t, Problem{Instrument: in, Chords: chordsOf(t, in, "022100 as 4:6:8:10:12:16", "x32310 as 4:5:7:8:10")})
}
