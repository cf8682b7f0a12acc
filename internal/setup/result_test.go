package setup

import (
	"encoding/json"
	"strings"
	"testing"
)

// docs/formats.md says lists: an empty one is written [], never null.
func TestResultWritesEmptyLists(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	f, err := fitAll(board, []Reading{{Note: Note{String: 1}, Cents: 1, Sigma: 0.1, Plucks: 1}}, UsualModel)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(f.result())
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"frets":[]`, `"odd_notes":[]`} {
		if !strings.Contains(string(data), want) {
			t.Errorf("%s lacks %s", data, want)
		}
	}
}
