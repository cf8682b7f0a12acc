package targets

import "testing"

func TestOfNotesKeepsTheNotes(t *testing.T) {
	tuning, err := ParseTuning("12edo")
	if err != nil {
		t.Fatal(err)
	}
	// A just major third above A2 = 110 Hz is 137.5 Hz (5/4).
	in, err := OfNotes("chord", tuning, []Target{{Label: "A2", Hz: 110, Fret: 3}, {Label: "137.5Hz", Hz: 137.5}})
	if err != nil {
		t.Fatal(err)
	}
	r, err := NewResolver(ResolverConfig{Instrument: in, Reference: &Reference{Label: "A4", Hz: 430}})
	if err != nil {
		t.Fatal(err)
	}
	got := r.Strings()
	want := []Target{{Label: "A2", Hz: 110, String: 1}, {Label: "137.5Hz", Hz: 137.5, String: 2}}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("string %d is %+v, want %+v", i+1, got[i], want[i])
		}
	}
}
