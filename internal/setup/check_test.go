package setup

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// pluckAt is a pluck of n as the world sounds it, some cents beside.
func (w *world) pluckAt(n Note, cents float64) Pluck {
	return Pluck{F1Hz: w.hz(n) * math.Pow(2, cents/1200), SigmaCents: 0.05, B: 1e-4, BSigma: 1e-5}
}

func newTestCheck(t *testing.T) (*world, *Check) {
	t.Helper()
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	return w, NewCheck(board, planOf(t, board, PlanOptions{Strings: []int{6}, Notes: 6}), UsualSettings)
}

func TestCheckRepeatsUntilSteady(t *testing.T) {
	w, c := newTestCheck(t)
	p, more := c.Prompt()
	if !more || !p.Open() || p.String != 6 || p.Need != 2 || p.Of != 6 {
		t.Fatalf("first prompt %+v", p)
	}
	steps := []struct {
		cents float64
		done  bool
	}{
		{-2, false}, {2, false}, {-1, false}, {1, false}, {0.5, false},
		{-0.5, true}, // the standard error is 0.6 cents still, but six are enough
	}
	for i, s := range steps {
		if a := c.Offer(w.pluckAt(p.Note, s.cents)); !a.Taken || a.Done != s.done {
			t.Fatalf("pluck %d: %+v, want done %v", i+1, a, s.done)
		}
	}
	if c.Entries[0].State != Loose {
		t.Errorf("the first note is %q after six plucks that scatter", c.Entries[0].State)
	}
	p, _ = c.Prompt()
	if p.Harmonic != 2 || p.Index != 1 || !strings.Contains(p.How, "touch string 6 lightly 324 mm from the nut (over fret 12)") {
		t.Errorf("second prompt %+v", p)
	}
	c.Offer(w.pluckAt(p.Note, 0))
	if a := c.Offer(w.pluckAt(p.Note, 0.3)); !a.Done || c.Entries[1].State != Done {
		t.Errorf("two plucks 0.3 cents apart: %+v, %q", a, c.Entries[1].State)
	}
}

func TestCheckTakesNoOtherNote(t *testing.T) {
	w, c := newTestCheck(t)
	for _, x := range []struct {
		n     Note
		cents float64
		said  string
	}{
		{Note{String: 6}, 63, "tune it first"},
		{Note{String: 6, Fret: 5}, 0, "that sounds like string 6, fret 5; wanted open"},
		{Note{String: 6, Harmonic: 3}, 0, "that sounds like string 6, harmonic 3"},
		{Note{String: 6}, math.NaN(), "no pitch"},
	} {
		if a := c.Offer(w.pluckAt(x.n, x.cents)); a.Taken || !strings.Contains(a.Text, x.said) {
			t.Errorf("%s %+.0f cents for the open string: %+v, want %q", x.n.Text(), x.cents, a, x.said)
		}
	}
	// A string 40 cents flat shifts what is expected of its other notes.
	w.pitch[5] = -40
	c.Offer(w.pluckAt(Note{String: 6}, 0))
	c.Offer(w.pluckAt(Note{String: 6}, 0))
	p, _ := c.Prompt()
	if off := Cents(p.Hz, w.hz(p.Note)); math.Abs(off) > 0.5 {
		t.Errorf("%s is expected %.1f cents from where it sounds", p.Text(), off)
	}
	if a := c.Offer(w.pluckAt(Note{String: 6, Harmonic: 2}, 0)); !a.Taken {
		t.Errorf("a harmonic of a flat string: %+v", a)
	}
}

func TestCheckSkipRedoAccept(t *testing.T) {
	w, c := newTestCheck(t)
	open := Note{String: 6}
	if c.Accept() {
		t.Error("accepted a note that nobody played")
	}
	c.Offer(w.pluckAt(open, 0))
	if !c.Accept() || c.At != 1 || len(c.Entries[0].Plucks) != 1 {
		t.Errorf("accept left the check at %d", c.At)
	}
	c.Skip()
	if c.At != 2 || c.Entries[1].State != Skipped {
		t.Errorf("skip left the check at %d, %q", c.At, c.Entries[1].State)
	}
	c.Redo() // nothing was played of the third: the second once more
	if c.At != 1 || c.Entries[1].State != Waiting {
		t.Errorf("redo left the check at %d, %q", c.At, c.Entries[1].State)
	}
	for _, i := range []int{-1, 6} {
		if c.GoTo(i) == nil {
			t.Errorf("went to entry %d of 6", i)
		}
	}
	for range 6 {
		c.Skip()
	}
	if _, more := c.Prompt(); more {
		t.Error("all were skipped or played, and one is asked for")
	}
	if a := c.Offer(w.pluckAt(open, 0)); a.Taken {
		t.Error("took a pluck that was not asked for")
	}
	if _, err := c.Fit(); err == nil || !strings.Contains(err.Error(), "too little") {
		t.Errorf("fit of nothing: %v", err)
	}
	c.Redo()
	if c.At != 5 {
		t.Errorf("redo at the end went to %d", c.At)
	}
}

// A fret that seems off on the one string that has it is asked for on others.
func TestCheckConfirms(t *testing.T) {
	board := boardOf(t, "guitar-41edo-alternate")
	plan := planOf(t, board, PlanOptions{})
	w := newWorld(board)
	lone := 0
	for _, s := range plan.Steps {
		count := 0
		for _, other := range plan.Steps {
			if other.Fret == s.Fret {
				count++
			}
		}
		if s.Fret > 10 && s.Fret < 25 && count == 1 {
			lone = s.Fret
			break
		}
	}
	w.fret[lone] = 0.5
	c := NewCheck(board, plan, UsualSettings)
	rng := rand.New(rand.NewPCG(12, 1))
	w.finish(t, c, rng)
	n := c.Confirm()
	if n < confirmOn || c.Confirm() != 0 {
		t.Fatalf("asked for %d notes more, want %d or more, and none before those are played", n, confirmOn)
	}
	here := 0
	for _, e := range c.Entries[len(c.Entries)-n:] {
		if e.Fret == lone {
			here++
		}
	}
	if here != confirmOn {
		t.Errorf("fret %d is asked for %d times more, want %d", lone, here, confirmOn)
	}
	for more := n; more > 0; more = c.Confirm() {
		w.finish(t, c, rng)
	}
	if !c.Confirmed || c.Confirm() != 0 {
		t.Error("it asks for ever")
	}
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Frets {
		if f.Fret == lone && (!f.Off || len(f.Strings) != min(1+confirmOn, len(board.Strings))) {
			t.Errorf("fret %d: %+v", lone, f)
		}
	}
}

func TestStrayPlucks(t *testing.T) {
	at := func(cents ...float64) []Pluck {
		var p []Pluck
		for _, c := range cents {
			p = append(p, Pluck{F1Hz: 100 * math.Pow(2, c/1200)})
		}
		return p
	}
	for _, x := range []struct {
		cents []float64
		kept  int
	}{
		{[]float64{0, 30}, 2}, // which of the two?
		{[]float64{0, 0.2, 8}, 2},
		{[]float64{0, 0.2, 1}, 3},
		{[]float64{0, 4, 9, 13}, 4}, // a bad hand, no stray
	} {
		if got := len(sound(at(x.cents...))); got != x.kept {
			t.Errorf("of %v %d are kept, want %d", x.cents, got, x.kept)
		}
	}
}

func TestSlips(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	c := w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(4, 4)))
	if slips := c.Slips(); len(slips) != 0 {
		t.Errorf("nothing slipped: %+v", slips)
	}
	for i := range c.Entries {
		if e := &c.Entries[i]; e.String == 3 && e.Open() && i > 0 && c.Entries[i-1].Fret > 0 {
			for k := range e.Plucks {
				e.Plucks[k].F1Hz *= math.Pow(2, -4.0/1200)
			}
		}
	}
	if slips := c.Slips(); len(slips) != 1 || slips[0].Number != 3 || math.Abs(slips[0].Cents+4) > 1.5 {
		t.Errorf("string 3 slipped by 4 cents: %+v", slips)
	}
}
