package main

import "testing"

const sample = `package p

type pair struct {
	a, b int
	error
}

const named = 7

func (p *pair) sum() float64 {
	const local = 9
	var list [5]int
	x := 0.5 + 3.0*float64(list[4]) - 1
	for i := range list[3 : local-4] {
		x += float64(i << 6)
	}
	return x + 8
}

func (p pair) none() {}
`

// What counts and what does not, told by a file whose numbers are known.
func TestShapeOfSample(t *testing.T) {
	var s shape
	if err := s.addFile("p/p.go", []byte(sample), 8); err != nil {
		t.Fatal(err)
	}
	if got := s.largest(1); len(got) != 1 || got[0] != (typeSize{"p.pair", 3, 2}) {
		t.Errorf("largest type %+v, want p.pair with 3 fields and 2 methods", got)
	}
	if len(s.long) != 1 || s.long[0] != (counted{"p.pair.sum", 9}) || s.functions != 2 {
		t.Errorf("long functions %+v of %d", s.long, s.functions)
	}
	var bare []string
	for _, b := range s.bare {
		bare = append(bare, b.text)
	}
	if want := []string{"3.0", "4", "8"}; len(bare) != len(want) || bare[0] != want[0] || bare[1] != want[1] || bare[2] != want[2] {
		t.Errorf("bare numbers %v, want %v", bare, want)
	}
	if err := s.addFile("p/q.go", []byte("package"), 8); err == nil {
		t.Error("a file that is no Go is counted")
	}
}

// Most numbers in the bodies of the pitch tree have a name, and with it a place where their origin is told.
func TestFewBareNumbersInPitch(t *testing.T) {
	const most = 60
	var s shape
	if err := s.addTree("../../pitch", tallest); err != nil {
		t.Fatal(err)
	}
	if len(s.bare) > most {
		t.Errorf("%d bare numbers in function bodies below internal/pitch, want %d at most; go run ./internal/tools/shape -numbers lists them", len(s.bare), most)
	}
	if s.functions < 100 {
		t.Errorf("%d functions found below internal/pitch: the test looks in the wrong place", s.functions)
	}
}
