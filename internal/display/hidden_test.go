package display

import (
	"encoding/json"
	"testing"
)

// The marks of direction are those with the property Bidi_Control in PropList.txt of Unicode 15.0.
func TestHidden(t *testing.T) {
	for _, r := range "\x00\a\b\t\n\r\x1b\x7f\u0080\u009b\u00ad\u061c\u200b\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff\ufff9\U000e0041" {
		if !Hidden(r) {
			t.Errorf("%U is shown", r)
		}
	}
	for _, r := range "a é♭𝄪שع–\u00a0\u200c\u200d\u0600\ufffd" {
		if Hidden(r) {
			t.Errorf("%U is hidden", r)
		}
	}
}

func TestEscapeHiddenKeepsTheMeaning(t *testing.T) {
	const text = "a\u202eb\x1b[31m\u2028\U000e0041♭"
	b, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	escaped := EscapeHidden(append(b, '\n'))
	for _, r := range string(escaped[:len(escaped)-1]) {
		if Hidden(r) {
			t.Errorf("%q holds %U", escaped, r)
		}
	}
	var back string
	if err := json.Unmarshal(escaped, &back); err != nil || back != text {
		t.Errorf("%s means %q, %v", escaped, back, err)
	}
}
