package setup

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/targets"
)

// A world is an instrument whose every error is known. It sounds by lengths and frequencies, not by
// the formulas that are under test.
type world struct {
	board *Board
	pitch []float64 // cents of each open string off its target
	b     []float64
	ends  []Ends
	press []float64       // cents, times 1/(r−1)
	fret  map[int]float64 // mm by number of the fret, towards the saddle
	hand  float64         // cents between plucks of a note
}

func newWorld(b *Board) *world {
	n := len(b.Strings)
	w := &world{board: b, pitch: make([]float64, n), b: make([]float64, n), ends: make([]Ends, n), press: make([]float64, n), fret: map[int]float64{}, hand: UsualModel.RepeatCents}
	for i := range w.b {
		w.b[i] = 1e-4
	}
	return w
}

// hz returns partial 1 of a note as the world sounds it.
func (w *world) hz(n Note) float64 {
	i, _ := w.board.at(n.String)
	s := w.board.Strings[i]
	open := s.ScaleMM + w.ends[i].SaddleMM - w.ends[i].NutMM
	f0 := s.OpenHz * math.Pow(2, w.pitch[i]/1200) / math.Sqrt(1+w.b[i]) // without stiffness
	switch {
	case n.Harmonic > 0:
		h := float64(n.Harmonic)
		return h * f0 * math.Sqrt(1+w.b[i]*h*h)
	case n.Fret > 0:
		r := s.Frets[n.Fret-1].Ratio()
		stopped := s.ScaleMM/r + w.ends[i].SaddleMM - w.fret[n.Fret]
		b := w.b[i] * r * r
		return f0 * open / stopped * math.Sqrt(1+b) * math.Pow(2, w.press[i]/(r-1)/1200)
	}
	return f0 * math.Sqrt(1+w.b[i])
}

// play carries out a check of the world, with readings that scatter as the model says,
// but for the hand.
func (w *world) play(t *testing.T, p *Plan, rng *rand.Rand) *Check {
	t.Helper()
	c := NewCheck(w.board, p, UsualSettings)
	m := c.Settings.Model
	for i := range c.Entries {
		e := &c.Entries[i]
		beside := m.NoteCents * rng.NormFloat64() // of the note, alike in all its plucks
		for range 2 {
			const sigma = 0.05
			off := beside + w.hand*rng.NormFloat64() + sigma*rng.NormFloat64()
			k, _ := w.board.at(e.String)
			b := w.b[k] * math.Pow(w.board.ratio(e.Note), 2) * (1 + 0.02*rng.NormFloat64())
			e.Plucks = append(e.Plucks, Pluck{
				F1Hz: w.hz(e.Note) * math.Pow(2, off/1200), SigmaCents: sigma, B: b, BSigma: 0.02 * b,
			})
		}
		e.State = Done
	}
	c.At = len(c.Entries)
	return c
}

// boardOf loads a built-in instrument.
func boardOf(t testing.TB, name string) *Board {
	t.Helper()
	in, err := targets.LoadInstrument(name)
	if err != nil {
		t.Fatal(err)
	}
	b, err := NewBoard(in)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func planOf(t testing.TB, b *Board, o PlanOptions) *Plan {
	t.Helper()
	p, err := MakePlan(b, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
