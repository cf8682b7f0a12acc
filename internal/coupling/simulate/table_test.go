package simulate

import (
	"testing"
)

// TestTable is a small part of `make coupling`, which has the whole: few instruments, and goals within three
// standard errors.
func TestTable(t *testing.T) {
	groups, err := Rows(24, 1, "floating bridge", "banjo", "guitar, fixed bridge")
	if err != nil {
		t.Fatal(err)
	}
	goals := 0
	for _, group := range groups {
		var round Tally
		for i, r := range group {
			tally, err := r.Run()
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				round = tally
			}
			if r.Goal != (Goal{}) {
				goals++
			}
			if tally.InTune < 1-1e-9 { // a sum of parts
				t.Errorf("%s: %.0f %% in tune in the end", r.Cell, 100*tally.InTune)
			}
			for _, m := range r.Judge(tally, round, surely) {
				t.Errorf("%s: %s", r.Cell, m)
			}
		}
	}
	if goals < 12 {
		t.Errorf("%d rows have goals", goals)
	}
}

// TestJudgeSees keeps the judging honest: tuned round and round, a floating bridge misses what advice reaches.
func TestJudgeSees(t *testing.T) {
	groups, err := Rows(24, 1, "floating bridge")
	if err != nil {
		t.Fatal(err)
	}
	round, err := groups[0][0].Run()
	if err != nil {
		t.Fatal(err)
	}
	advised := groups[0][2]
	if len(advised.Judge(round, round, surely)) < 3 {
		t.Errorf("round and round is judged %q against %+v", advised.Judge(round, round, surely), advised.Goal)
	}
}
