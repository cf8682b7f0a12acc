package fretboard

import (
	"fmt"
	"slices"
	"testing"
)

func TestFindingsAreGrouped(t *testing.T) {
	var all []Finding
	for str := 1; str <= 3; str++ {
		all = append(all, Finding{Kind: "scale length", String: str, Text: "not given"})
	}
	all = append(all, Finding{Kind: "scale length", String: 5, Text: "not given"})
	for _, str := range []int{6, 7} {
		for fret := 20; fret <= 22; fret++ {
			all = append(all, Finding{narrowFret, true, str, fret, fmt.Sprintf("%d mm", 24-fret)})
		}
	}
	all = append(all, Finding{Kind: "duplicate fret", Fault: true, String: 7, Fret: 23, Text: "as 22"}, Finding{Kind: "repeat", Text: "at 2/1"})
	var got []string
	for _, g := range Grouped(all) {
		got = append(got, fmt.Sprintf("%s|%s|%s", g.StringWords(), g.FretWords(), g.Text))
	}
	want := []string{"1 to 3||not given", "5||not given", "6|20 to 22|2 mm", "7|20 to 22|2 mm", "7|23|as 22", "||at 2/1"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
