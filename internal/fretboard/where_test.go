package fretboard

import (
	"math"
	"testing"
)

// An odd division with a fret every second step has no octave on any string: an odd number of
// steps is never a whole number of frets. With strings an odd number of steps apart it lies on
// the neighbours (arithmetic: 41 - 13 = 28 steps = 14 frets, 41 - 39 = 2 steps = 1 fret).
func TestOctaveOfAlternateFrets(t *testing.T) {
	b := builtin(t, "guitar-41edo-alternate")
	octave := ratio(t, "2/1")
	for _, o := range b.OnOneString(octave) {
		if o.Hits != 0 || o.Starts == 0 {
			t.Errorf("string %d has %d octaves above %d notes, want none", o.String, o.Hits, o.Starts)
		}
		near(t, "nearest fret to the octave", math.Abs(o.Cents), 1200.0/41, 1e-6) // a step, half the way between frets
	}
	places, err := b.Where(octave, 6, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range places {
		want := map[int]int{5: 14, 3: 1}
		fret, there := want[p.String]
		if p.Exact != there || there && p.Nearest.Fret != fret {
			t.Errorf("octave of the open string 6 on string %d: %+v", p.String, p)
		}
	}
}

func TestOctaveOfTwelve(t *testing.T) {
	for _, o := range builtin(t, "guitar-12edo").OnOneString(ratio(t, "2/1")) {
		// Frets 0 to 22: the octave of fret 0 to 10 is on the string.
		if o.Hits != 11 || o.Starts != 11 || o.Fret != 12 {
			t.Errorf("%+v", o)
		}
	}
}

// The seventh harmonic of the third octave is 31.17 cents below the minor seventh (published;
// see testdata).
func TestWhereSeven(t *testing.T) {
	b := builtin(t, "guitar-12edo")
	places, err := b.Where(ratio(t, "7/4"), 6, 0)
	if err != nil {
		t.Fatal(err)
	}
	p := places[5]
	if p.Nearest.Fret != 10 || p.Exact {
		t.Errorf("%+v", p)
	}
	near(t, "error of fret 10", p.Cents, 31.174094, 1e-5)
	near(t, "place of 7/4", p.ExactMM, 648*3.0/7, 1e-9)
	near(t, "beat", p.BeatHz, math.Abs(7*b.Strings[5].Open.Hz-4*p.Nearest.Hz), 1e-9)
	if top := places[0]; top.Reached || top.Text != "below the open string" || !math.IsNaN(top.ExactMM) {
		t.Errorf("7/4 above E2 on the high E string: %+v", top)
	}
	if _, err := b.Where(ratio(t, "7/4"), 6, 23); err == nil {
		t.Error("fret 23 of 22 is not refused")
	}
	if _, err := b.Where(ratio(t, "7/4"), 7, 0); err == nil {
		t.Error("string 7 of 6 is not refused")
	}
}

// A string without frets still has the place: 3/2 at a third of the string.
func TestWhereFretless(t *testing.T) {
	places, err := builtin(t, "violin").Where(ratio(t, "3/2"), 4, 0)
	if err != nil {
		t.Fatal(err)
	}
	if p := places[3]; p.Reached || p.Text != "no fret" {
		t.Errorf("%+v", p)
	}
	near(t, "place", places[3].ExactMM, 328.0/3, 1e-9)
	if p := places[2]; !p.Exact || p.Nearest.Fret != 0 {
		t.Errorf("the fifth above G is the open D string: %+v", p)
	}
}
