package bench

import (
	"fmt"

	"tunerd/internal/targets"
)

// A bound is what a number of a request may be, ends included.
type bound struct {
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

// check refuses what is not within.
func (b bound) check(name string, x float64) error {
	if !(x >= b.Least && x <= b.Most) { // NaN is not
		return fmt.Errorf("%s: %g is not within %g to %g", name, x, b.Least, b.Most)
	}
	return nil
}

// bounds are those of the numbers that forms ask for: the requests are checked by them, and pages set up their
// fields by them.
var bounds = struct {
	Notes       bound `json:"notes"`        // of a string in a check
	Plucks      bound `json:"plucks"`       // of a note in a check
	ThreadMM    bound `json:"thread_mm"`    // of a saddle screw, a turn
	SpanMM      bound `json:"span_mm"`      // of a hand
	WithinCents bound `json:"within_cents"` // of the notes of a shape
	Divisions   bound `json:"divisions"`    // steps
	Spare       bound `json:"spare"`        // part of the other chords
	LimitCents  bound `json:"limit_cents"`  // of a string
}{
	Notes: bound{5, 60}, Plucks: bound{1, 30}, ThreadMM: bound{0, 10},
	SpanMM: bound{0, 400}, WithinCents: bound{0, 100},
	Divisions: bound{1, targets.MaxDivisions}, Spare: bound{0, 1}, LimitCents: bound{0, 1200},
}

func (b *Bench) getBounds(*asked) (any, error) { return bounds, nil }
