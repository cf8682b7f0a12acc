package targets

import (
	"math"
	"testing"
)

// Sums and differences, with the exact values that they must have.
func TestSumsOfIntervals(t *testing.T) {
	for _, c := range []struct{ sum, same string }{
		{"5/4-81/80", "100/81"},
		{"3/2-3/2", "1/1"},
		{"-1of12edo", "11of12edo-2/1"},
		{"2/1-7of12edo+1of12edo", "6of12edo"},
		{"3/2+7/6-7/4", "1/1"},
		{"-4of13ed3+3/1", "9of13ed3"},
	} {
		if a, b := mustInterval(t, c.sum), mustInterval(t, c.same); !a.Equal(b) || !a.Exact() {
			t.Errorf("%s is %v, want %s", c.sum, a, c.same)
		}
	}
	near(t, "5/4-10c", mustInterval(t, "5/4-10c").Cents(), 376.3137139, 1e-7) // 1200·log2(5/4) = 386.3137139
	near(t, "-10.5c", mustInterval(t, "-10.5c").Cents(), -10.5, 1e-12)
	near(t, "-10c-3/2", mustInterval(t, "-10c-3/2").Cents(), -711.9550009, 1e-7)
	for _, text := range []string{"1of3edo+1of5ed3", "2/3-1of3edo+1of5ed3"} { // what is written is read back
		if a := mustInterval(t, text); !mustInterval(t, a.String()).Equal(a) {
			t.Errorf("%s is written %s", text, a)
		}
	}
}

// A division is understood as people write it.
func TestDivisionsInOtherWords(t *testing.T) {
	for text, want := range map[string]string{
		"31": "31edo", "31 edo": "31edo", "31-edo": "31edo", "31-EDO": "31edo", "13 ed3": "13ed3", "13-ed3": "13ed3",
		"9 ed3/2": "9ed3/2",
	} {
		if got := mustTuning(t, text).String(); got != want {
			t.Errorf("%q is %s, want %s", text, got, want)
		}
	}
	for _, text := range []string{"2441", "24\\41", "31-", "edo", "- edo", "31 32 edo"} {
		if _, err := ParseTuning(text); err == nil {
			t.Errorf("%q is accepted", text)
		}
	}
}

// A string may stand so many cents from a note: B3 is 246.9417 Hz (A4=440, ten half tones
// below it), 13.7 cents below it 244.9953 Hz.
func TestStringBetweenNotes(t *testing.T) {
	in, err := ParseInstrument("x.toml", []byte("name='x'\ntuning='12edo'\n[[strings]]\nnote='B3-13.7c'\n[[strings]]\nnote='E4 +5c'\n[[strings]]\nnote='A2'\n"))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "B3-13.7c", in.Strings[0].Open.Hz, 440*math.Exp2((-10-0.137)/12), 1e-9)
	near(t, "E4 +5c", in.Strings[1].Open.Hz, 440*math.Exp2((-5+0.05)/12), 1e-9)
	if got := in.Strings[0].Open.Label; got != "B3 -13.7c" {
		t.Errorf("it is called %q", got)
	}
	for i, want := range []bool{true, true, false} {
		if got := in.Strings[i].OpenBetween(); got != want {
			t.Errorf("string %d: between notes on purpose: %v", i+1, got)
		}
	}
	for _, note := range []string{"B3-9999c", "B3-xc", "B3+c", "-5c"} {
		if _, err := ParseInstrument("x.toml", []byte("name='x'\ntuning='12edo'\n[[strings]]\nnote='"+note+"'\n")); err == nil {
			t.Errorf("%q is accepted", note)
		}
	}
}
