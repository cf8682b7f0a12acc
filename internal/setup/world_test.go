package setup

import (
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/targets"
)

// A world is an instrument whose every error is known. It sounds by the geometry of a string that
// is stretched as it is pressed, point by point and in full, not by the shapes that are under test:
// from the nut to the finger, over the wire, to the saddle. TestWorldIsThePublishedModel sets it
// against a published model.
type world struct {
	board   *Board
	pitch   []float64       // cents of each open string off its target
	b       []float64       // inharmonicity of each open string
	ends    []Ends          // of the real nut and saddle
	elastic []float64       // E·A/T of each open string
	height  []float64       // mm of the bottom of each slot of the nut above the plane of the frets
	action  []float64       // mm of each string over the middle of the scale
	bow     float64         // mm, the relief of the neck
	finger  float64         // mm behind the wire
	end     float64         // α of the stiff string's ends
	fret    map[int]float64 // mm by number of the fret, towards the saddle
	hand    float64         // cents between plucks of a note
}

func newWorld(b *Board) *world {
	n := len(b.Strings)
	w := &world{
		board: b, pitch: make([]float64, n), b: make([]float64, n), ends: make([]Ends, n), elastic: make([]float64, n),
		height: make([]float64, n), action: make([]float64, n), bow: 0.15, finger: 5, end: 1.1, fret: map[int]float64{}, hand: UsualModel.RepeatCents,
	}
	for i := range b.Strings {
		w.b[i] = 1e-4
		w.elastic[i], _ = b.Strings[i].elasticity()
		w.height[i], w.action[i] = 0.3, 2
	}
	return w
}

// hz returns partial 1 of a note as the world sounds it.
func (w *world) hz(n Note) float64 {
	i, _ := w.board.at(n.String)
	return w.hzAt(n, w.ends[i])
}

// hzAt is hz with nut and saddle elsewhere, and the open string tuned as before.
func (w *world) hzAt(n Note, ends Ends) float64 {
	i, _ := w.board.at(n.String)
	s := w.board.Strings[i]
	open := s.OpenHz * math.Pow(2, w.pitch[i]/1200)
	stiff := func(b float64) float64 {
		b0 := math.Sqrt(b) / math.Pi
		return 1 + w.end*b0 + (1+math.Pi*math.Pi/2)*b0*b0
	}
	switch {
	case n.Harmonic > 0:
		h := float64(n.Harmonic)
		return h * open * math.Sqrt((1+w.b[i]*h*h)/(1+w.b[i]))
	case n.Open():
		return open
	}
	type point struct{ x, y float64 }
	far := func(a, b point) float64 { return math.Hypot(b.x-a.x, b.y-a.y) }
	neck := 0.55 * s.ScaleMM
	place := func(k int) float64 {
		if k == 0 {
			return 0
		}
		return s.ScaleMM - s.ScaleMM/s.Frets[k-1].Ratio()
	}
	nut := point{ends.NutMM, w.height[i]}
	saddle := point{s.ScaleMM + ends.SaddleMM, 2*w.action[i] - w.height[i]}
	wire := point{x: place(n.Fret) + w.fret[n.Fret]}
	if wire.x < neck {
		wire.y = -w.bow * (1 - math.Pow(2*wire.x/neck-1, 2))
	}
	// The finger lies where the string goes on straight over the wire.
	behind := min(w.finger, 0.4*(place(n.Fret)-place(n.Fret-1)))
	finger := point{wire.x - behind, wire.y - behind*(saddle.y-wire.y)/(saddle.x-wire.x)}

	length := far(nut, saddle)
	stretch := (far(nut, finger)+far(finger, wire)+far(wire, saddle))/length - 1
	sounding := far(wire, saddle)
	elastic := w.elastic[i] * math.Pow(s.ScaleMM/length, 2) // tuned to the same pitch, a longer string is tighter
	tension := 1 + elastic*stretch                          // of the open string's
	b := w.b[i] * math.Pow(length/sounding, 2) / tension
	return open * length / sounding * math.Sqrt(tension*(1+stretch)) * stiff(b) / stiff(w.b[i])
}

// bestMove returns the move of nut and saddle that brings all frets of string i, each in its place,
// nearest to their notes as the world sounds them: by trial, with Gauss and Newton's method.
func (w *world) bestMove(i int) Move {
	placed := *w
	placed.fret = nil
	number := w.board.Strings[i].Number
	off := func(m Move) []float64 {
		ends := Ends{w.ends[i].NutMM + m.NutMM, w.ends[i].SaddleMM + m.SaddleMM}
		var all []float64
		for k, f := range w.board.Strings[i].Frets {
			fretted := placed.hzAt(Note{String: number, Fret: k + 1}, ends)
			all = append(all, 1200*math.Log2(fretted/placed.hzAt(Note{String: number}, ends))-f.Cents)
		}
		return all
	}
	var m Move
	for range 6 {
		const step = 1e-3
		here := off(m)
		nut, saddle := off(Move{m.NutMM + step, m.SaddleMM}), off(Move{m.NutMM, m.SaddleMM + step})
		var nn, ns, ss, n, t float64
		for k, d := range here {
			a, b := (nut[k]-d)/step, (saddle[k]-d)/step
			nn, ns, ss, n, t = nn+a*a, ns+a*b, ss+b*b, n-a*d, t-b*d
		}
		det := nn*ss - ns*ns
		m.NutMM += (n*ss - t*ns) / det
		m.SaddleMM += (t*nn - n*ns) / det
	}
	return m
}

// pluck is a note of the world played once: beside is what plucking again does not mend, cents.
func (w *world) pluck(n Note, beside float64, rng *rand.Rand) Pluck {
	const sigma = 0.05
	i, _ := w.board.at(n.String)
	off := beside + w.hand*rng.NormFloat64() + sigma*rng.NormFloat64()
	b := w.b[i] * math.Pow(w.board.ratio(n), 2) * (1 + 0.02*rng.NormFloat64())
	return Pluck{F1Hz: w.hz(n) * math.Pow(2, off/1200), SigmaCents: sigma, B: b, BSigma: 0.02 * b}
}

// play carries out a check of the world as a guide leads it, each note plucked until it is steady,
// and suspicious frets heard on other strings too.
func (w *world) play(t testing.TB, p *Plan, rng *rand.Rand) *Check {
	t.Helper()
	c := NewCheck(w.board, p, UsualSettings)
	w.finish(t, c, rng)
	for c.Confirm() > 0 {
		w.finish(t, c, rng)
	}
	return c
}

func (w *world) finish(t testing.TB, c *Check, rng *rand.Rand) {
	t.Helper()
	for at, beside := -1, 0.0; ; {
		p, more := c.Prompt()
		if !more {
			return
		}
		if p.Index != at {
			at, beside = p.Index, c.Settings.Model.NoteCents*rng.NormFloat64()
		}
		if a := c.Offer(w.pluck(p.Note, beside, rng)); !a.Taken {
			c.Skip() // so sharp that it passes for the next fret
		}
	}
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
