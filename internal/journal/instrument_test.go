package journal

import (
	"slices"
	"strings"
	"testing"
)

// TestFindKnowsAMovedFile asks for instruments as users do.
func TestFindKnowsAMovedFile(t *testing.T) {
	j := openNew(t)
	const eight, violin = "Workshop eight: E4 B3 G3 D3 A2 E2 B1 F#1", "Violin: E5 A4 D4 G3"
	add := func(identity, name string, strings int, onDay float64) {
		keep(t, j, Session{Identity: identity, Instrument: name, Strings: make([]String, strings), Started: day(onDay)}, Reading{F1Hz: 1})
	}
	add("", "/home/a/eight.toml", 8, 0) // by an older program
	add(eight, "/home/a/eight.toml", 8, 1)
	add(eight, "/media/b/eight-string.toml", 8, 2) // moved
	add("", "/srv/eight.toml", 7, 3)               // another of that name
	add(violin, "violin", 4, 4)
	add("", "violin", 4, 0)
	add("Left: E2", "/x/two.toml", 1, 5)
	add("Right: E2", "/y/two.toml", 1, 6)
	if _, err := j.AddEvent(t.Context(), Event{Instrument: "lute", Kind: Remark}); err != nil {
		t.Fatal(err)
	}
	all := []string{"/media/b/eight-string.toml", "/home/a/eight.toml", "/home/a/eight.toml"}
	for _, c := range []struct {
		asked Instrument
		want  []string
	}{
		{Instrument{Identity: eight, Name: "/new/place.toml"}, all},
		{Instrument{Name: "/home/a/eight.toml"}, all},
		{Instrument{Name: "eight-string.toml"}, all},
		{Instrument{Name: "eight-string"}, all},
		{Instrument{Name: "Workshop eight"}, all},
		{Instrument{Name: eight}, all},
		{Instrument{Name: "violin"}, []string{"violin", "violin"}},
		{Instrument{Name: "lute"}, []string{"lute"}},
		{Instrument{Identity: "Right: E2", Name: "/elsewhere/two.toml"}, []string{"/y/two.toml"}},
		{Instrument{Name: "nobody"}, nil},
		{Instrument{}, nil},
	} {
		found, err := j.Find(t.Context(), c.asked)
		var names []string
		for _, in := range found {
			names = append(names, in.Name)
		}
		if err != nil || !slices.Equal(names, c.want) {
			t.Errorf("%+v: %q, %v; want %q", c.asked, names, err, c.want)
		}
	}
	if _, err := j.Find(t.Context(), Instrument{Name: "two"}); err == nil || !strings.Contains(err.Error(), "Left: E2; Right: E2") {
		t.Errorf("two instruments of one name: %v", err)
	}
}
