package setup

import (
	"math"
	"math/rand/v2"
	"testing"
)

// One note pressed aside, by 6 cents: it is left out and named, and nut and saddle stay right.
func TestFitLeavesOutABadNote(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	w.ends[1] = Ends{NutMM: 0.2, SaddleMM: -1}
	c := w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(8, 8)))
	var bad Note
	for i := range c.Entries {
		// A fret that other strings have too, so that it is not taken for the fret.
		if e := &c.Entries[i]; e.String == 2 && e.Fret == 5 {
			bad = e.Note
			for k := range e.Plucks {
				e.Plucks[k].F1Hz *= math.Pow(2, 6.0/1200)
			}
		}
	}
	if bad.Fret == 0 {
		t.Fatal("the plan has no fret 5 on string 2")
	}
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Odd) != 1 || r.Odd[0].Note != bad || math.Abs(r.Odd[0].Residual-6) > 1.5 {
		t.Errorf("left out %+v, want %s", r.Odd, bad.Text())
	}
	s := r.Strings[1]
	want := w.bestMove(1)
	if math.Abs(s.Move.NutMM-want.NutMM) > 3*s.MoveSigma.NutMM || math.Abs(s.Move.SaddleMM-want.SaddleMM) > 3*s.MoveSigma.SaddleMM {
		t.Errorf("string 2 is to be moved by %+v ± %+v, want %+v", s.Move, s.MoveSigma, want)
	}
}

// A false string: its third harmonic is 5 cents off. No stiffness explains that.
func TestFitSeesAFalseString(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	c := w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(9, 9)))
	for i := range c.Entries {
		if e := &c.Entries[i]; e.String == 4 && e.Harmonic == 3 {
			for k := range e.Plucks {
				e.Plucks[k].F1Hz *= math.Pow(2, 5.0/1200)
			}
		}
	}
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range r.Strings {
		if s.Harmonic.Read != 2 || s.Harmonic.Explained != (s.Number != 4) {
			t.Errorf("string %d: harmonics %+v", s.Number, s.Harmonic)
		}
	}
	if h := r.Strings[3].Harmonic; h.Harmonic != 3 || math.Abs(h.Cents-5) > 1.5 {
		t.Errorf("string 4: %+v, want harmonic 3 to be 5 cents off", h)
	}
}

// Stiffness explains harmonics that lie well above whole multiples: B = 1e-3 puts harmonic 3 up by
// 600·log2((1 + 9B)/(1 + B)) = 6.9 cents.
func TestStiffnessExplainsHarmonics(t *testing.T) {
	if got := Stiffness(1e-3, 3); math.Abs(got-6.8905) > 1e-3 {
		t.Errorf("harmonic 3 at B = 1e-3: %.4f cents above 3 times, want 6.8905", got)
	}
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	for i := range w.b {
		w.b[i] = 1e-3
	}
	r, err := w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(10, 10))).Fit()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range r.Strings {
		if !s.Harmonic.Explained || math.Abs(s.B-1e-3) > 1e-4 {
			t.Errorf("string %d: B %.2g, harmonics %+v", s.Number, s.B, s.Harmonic)
		}
	}
}

// The moves put the notes right: the same world with nut and saddle moved by what was said, played
// again, has nothing left to move, and Compare tells how far they came.
func TestMovesCure(t *testing.T) {
	board := boardOf(t, "guitar-41edo-alternate")
	plan := planOf(t, board, PlanOptions{})
	rng := rand.New(rand.NewPCG(14, 14))
	w := newWorld(board)
	w.bow = 0
	for i := range w.ends {
		w.ends[i] = Ends{NutMM: 0.4, SaddleMM: -2 + 0.5*float64(i)}
		w.b[i], w.height[i] = 2e-4, 0.1 // nothing that moves do not cure
	}
	before, err := w.play(t, plan, rng).Fit()
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range before.Strings {
		w.ends[i].NutMM += s.Move.NutMM
		w.ends[i].SaddleMM += s.Move.SaddleMM
	}
	after, err := w.play(t, plan, rng).Fit()
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range after.Strings {
		was := before.Strings[i]
		if s.Now.RMSCents > 0.6 || s.Now.RMSCents > was.Now.RMSCents {
			t.Errorf("string %d: %.2f cents in the mean square after the moves, %.2f before", s.Number, s.Now.RMSCents, was.Now.RMSCents)
		}
		if s.Verdict == Worth {
			t.Errorf("string %d: still %s, now %+v", s.Number, s.Verdict, s.Now)
		}
	}
	for _, c := range Compare(before, after) {
		b := c.Before.Move
		if math.Abs(c.SaddleMM-b.SaddleMM) > 3*c.SaddleSigma || math.Abs(c.NutMM-b.NutMM) > 3*c.NutSigma || math.Abs(c.LeftMM) > 4*c.LeftSigma {
			t.Errorf("string %d was moved by %+v, and the comparison says %+.2f and %+.2f mm, %+.2f left", c.After.Number, b, c.NutMM, c.SaddleMM, c.LeftMM)
		}
	}
}

// A straight saddle under strings whose best places lie on a line is that line; the nut of all
// strings is the mean.
func TestOnePieceBridge(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	for i := range board.Strings {
		board.Strings[i].Elastic = 200
	}
	w := newWorld(board)
	for i, s := range board.Strings {
		w.ends[i] = Ends{NutMM: -0.25, SaddleMM: -(1.5 + 0.03*s.SaddleAcross)}
	}
	r, err := w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(15, 15))).Fit()
	if err != nil {
		t.Fatal(err)
	}
	// Stiffness and press ask for a little more; it is the same on all strings.
	best := w.bestMove(0)
	more := Move{best.NutMM - 0.25, best.SaddleMM - 1.5 - 0.03*board.Strings[0].SaddleAcross}
	if l := r.Line; l == nil || math.Abs(l.AtMiddleMM-1.5-more.SaddleMM) > 0.12 || math.Abs(l.PerMM-0.03) > 0.005 {
		t.Errorf("line %+v, want %.2f mm in the middle and 0.03 mm/mm", l, 1.5+more.SaddleMM)
	}
	if n := r.Nut; n == nil || !n.Alike || math.Abs(n.MM-0.25-more.NutMM) > 3*n.Sigma || n.Sigma > 0.08 {
		t.Errorf("nut %+v, want %.2f mm", n, 0.25+more.NutMM)
	}
	w.ends[0].SaddleMM -= 3
	r, err = w.play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(16, 16))).Fit()
	if err != nil {
		t.Fatal(err)
	}
	if s := r.Line.Strings[0]; s.OffMM > -1 || s.Cents < 2 {
		t.Errorf("string 1 is 3 mm out of line, and the line says %+v", s)
	}
}

func TestVerdicts(t *testing.T) {
	sure := Move{NutMM: 0.1, SaddleMM: 0.1}
	notes := func(now, after float64) []NoteResult {
		return []NoteResult{{Note: Note{String: 1, Fret: 5}, Cents: 1, AfterCents: 0.5, Sigma: 0.3}, {Note: Note{String: 1, Fret: 12}, Cents: now, AfterCents: after, Sigma: 0.3}}
	}
	high := Height{MM: 0.8, Sigma: 0.1, High: true}
	for _, x := range []struct {
		s    StringResult
		want Verdict
	}{
		{StringResult{}, Unknown},
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 0.1}, Notes: notes(1, 1)}, Leave},
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 1}, Notes: notes(3, 0)}, Slight},
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 3}, Notes: notes(9, 0.5)}, Worth},
		{StringResult{Determined: true, MoveSigma: sure, Notes: notes(9, 9)}, NoUse},
		// The move makes the rest better, but the note that is off is off because of its fret.
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 1}, Notes: append(notes(4.5, 0.5), NoteResult{Note: Note{String: 1, Fret: 7}, Cents: 9, AfterCents: 8, Sigma: 0.3})}, NoUse},
		// The move cannot be told from none.
		{StringResult{Determined: true, MoveSigma: Move{NutMM: 2, SaddleMM: 2}, Move: Move{SaddleMM: 3}, Notes: notes(9, 0.5)}, NoUse},
		// A note off by chance: the move changes it by less than it is sure.
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 0.3}, Notes: notes(5.2, 4.8)}, NoUse},
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 3}, Notes: notes(9, 0.5), NutHeight: high}, LowerNut},
		{StringResult{Determined: true, MoveSigma: sure, Move: Move{SaddleMM: 1}, Notes: notes(3, 0), NutHeight: high}, Slight},
	} {
		x.s.Now, x.s.After = spreads(x.s.Notes)
		if got := judge(&x.s); got != x.want {
			t.Errorf("%+v: %q, want %q", x.s, got, x.want)
		}
	}
}

// What is hardly heard is a published figure: a difference in a melody that most people do not
// notice is "under 5 cents" (Wikipedia, article 72 equal temperament, seen in a mirror).
func TestHeardIsPublished(t *testing.T) {
	if HeardCents != 5 {
		t.Errorf("%g cents, published are 5", HeardCents)
	}
}
