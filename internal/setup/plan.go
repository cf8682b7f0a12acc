package setup

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A Plan is the notes of a check, in the order in which they are played.
type Plan struct {
	Steps    []Step     `json:"steps"`
	Expected []Expected `json:"expected"` // of every string in it
	Words    []string   `json:"words"`    // why these
}

// A Step is one note of a plan.
type Step struct {
	Note
	Why string `json:"why"`
}

// Expected are the standard errors that a plan leads to if all goes as the model says, mm.
type Expected struct {
	Number   int     `json:"string"`
	NutMM    float64 `json:"nut_mm"`
	SaddleMM float64 `json:"saddle_mm"`
	FretMM   float64 `json:"fret_mm"` // of a fret that it reads, the median; 0: too few are read to tell
}

// PlanOptions say how large a plan is.
type PlanOptions struct {
	Notes   int   // a string, open notes and harmonics included; 0: 12
	Strings []int // numbers; nil: all
	Model   Model // zero: UsualModel
	Plucks  int   // of each note; 0: 2
}

const (
	usualNotes   = 12
	leastNotes   = 5    // open twice, a harmonic, two frets
	plannedSlot  = 0.15 // mm: the plan reckons with frets worse than usual, to find those that are
	plannedSigma = 0.1  // cents, of one reading
	fretWeight   = 4.0  // so that every fret is heard where there are notes enough
	highest      = 3.0  // ratio above which no fret is asked for: what is left of the string is too short to be pressed alike twice
)

// MakePlan chooses the notes of a check: open strings before and after, two harmonics, and those
// frets that tell nut, saddle and single frets best. It minimises
//
//	mean var(nut) + mean var(saddle) + 4·mean var(fret)   [mm²]
//
// over strings and over the slots that the strings have: a Bayesian A-optimal design (K. Chaloner
// and I. Verdinelli, Statist. Sci. 10, 1995, from memory), found by taking the best note at a time
// and then exchanging single notes until no exchange helps. Which frets there are decides, not
// which interval they make: none need be an octave.
func MakePlan(b *Board, o PlanOptions) (*Plan, error) {
	if o.Notes == 0 {
		o.Notes = usualNotes
	}
	if o.Model == (Model{}) {
		o.Model = UsualModel
	}
	if o.Plucks == 0 {
		o.Plucks = 2
	}
	if o.Notes < leastNotes {
		return nil, fmt.Errorf("%d notes a string are too few to tell nut from saddle: want %d or more", o.Notes, leastNotes)
	}
	strings, err := o.strings(b)
	if err != nil {
		return nil, err
	}
	d := newDesign(b, o)
	for _, i := range strings {
		d.begin(i)
	}
	d.choose(strings)
	d.exchange()
	return d.plan(strings), nil
}

// strings returns the indexes of the strings asked for, or of all that have frets enough.
func (o *PlanOptions) strings(b *Board) ([]int, error) {
	var at []int
	for _, n := range o.Strings {
		i, ok := b.at(n)
		switch {
		case !ok:
			return nil, fmt.Errorf("string %d: %s has no such string with frets", n, b.Name)
		case b.usable(i) < 2:
			return nil, fmt.Errorf("string %d of %s: %w", n, b.Name, errFewFrets)
		case !slices.Contains(at, i):
			at = append(at, i)
		}
	}
	if len(o.Strings) > 0 {
		return at, nil
	}
	for i := range b.Strings {
		if b.usable(i) >= 2 {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return nil, fmt.Errorf("%s: %w", b.Name, errFewFrets)
	}
	return at, nil
}

var errFewFrets = errors.New("too few frets up to an octave and a fifth; two at least tell nut from saddle")

// usable is how many frets of string i may be asked for.
func (b *Board) usable(i int) int {
	n := 0
	for _, f := range b.Strings[i].Frets {
		if f.Ratio() <= highest {
			n++
		}
	}
	return n
}

// A design is a plan in the making.
type design struct {
	*frame
	o      PlanOptions
	x      []float64     // where the model is taken
	cov    *mat.SymDense // of the unknowns after the notes chosen so far
	value  []float64     // weight of each unknown's variance in what is minimised
	fixed  []Note
	chosen []Note      // fretted
	used   map[int]int // fretted notes by string index
}

func newDesign(b *Board, o PlanOptions) *design {
	d := &design{frame: newFrame(b), o: o, used: map[int]int{}}
	m := o.Model
	m.SlotMM = max(m.SlotMM, plannedSlot)
	var variance []float64
	d.x, variance = d.priors(m)
	for i := range b.Strings {
		variance[d.stiff(i)] = 0.1 * 0.1 // the open string's partials tell
	}
	d.cov = mat.NewSymDense(d.size(), nil)
	for j, v := range variance {
		d.cov.SetSym(j, j, v)
	}
	d.value = make([]float64, d.size())
	for i := range b.Strings {
		d.value[d.nut(i)] = 1 / float64(d.unknowns.strings)
		d.value[d.saddle(i)] = 1 / float64(d.unknowns.strings)
	}
	for k := range d.slots.frets {
		d.value[d.slot(k)] = fretWeight / float64(d.unknowns.slots)
	}
	return d
}

// noise is the variance of a planned note.
func (d *design) noise() float64 {
	m := d.o.Model
	return (m.RepeatCents*m.RepeatCents+plannedSigma*plannedSigma)/float64(d.o.Plucks) + m.NoteCents*m.NoteCents
}

// begin puts the notes of string i that every plan has.
func (d *design) begin(i int) {
	n := d.board.Strings[i].Number
	for _, note := range []Note{{String: n}, {String: n, Harmonic: 2}, {String: n, Harmonic: 3}, {String: n}} {
		d.fixed = append(d.fixed, note)
		d.shift(note, 1)
	}
}

// fretted is how many fretted notes string i is to have.
func (d *design) fretted(i int) int { return min(max(d.o.Notes-4, 2), d.board.usable(i)) }

// times returns C·a.
func (d *design) times(a *row) []float64 {
	out := make([]float64, d.size())
	for j := range out {
		for k := range a.n {
			out[j] += d.cov.At(j, a.at[k]) * a.slope[k]
		}
	}
	return out
}

// gain is how much what is minimised falls by reading the note too: C loses
// (C·a)(C·a)ᵀ/(v + aᵀ·C·a).
func (d *design) gain(n Note) float64 {
	_, a := d.predict(n, d.x)
	ca := d.times(&a)
	sum := 0.0
	for j, c := range ca {
		sum += d.value[j] * c * c
	}
	return sum / (d.noise() + a.quadratic(d.cov))
}

// shift adds a note to the covariance, or with sign −1 takes it out.
func (d *design) shift(n Note, sign float64) {
	_, a := d.predict(n, d.x)
	ca := mat.NewVecDense(d.size(), d.times(&a))
	d.cov.SymRankOne(d.cov, -sign/(d.noise()+sign*a.quadratic(d.cov)), ca)
}

// best returns the fretted note of string i that helps most among those not chosen.
func (d *design) best(i int) (Note, float64) {
	var best Note
	most := -1.0
	for k, f := range d.board.Strings[i].Frets {
		n := Note{String: d.board.Strings[i].Number, Fret: k + 1}
		if f.Ratio() > highest || slices.Contains(d.chosen, n) {
			continue
		}
		if g := d.gain(n); g > most {
			best, most = n, g
		}
	}
	return best, most
}

// choose takes the best note of all strings, one at a time, until each string has its share.
func (d *design) choose(strings []int) {
	for {
		var best Note
		most, at := -1.0, -1
		for _, i := range strings {
			if d.used[i] >= d.fretted(i) {
				continue
			}
			if n, g := d.best(i); g > most {
				best, most, at = n, g, i
			}
		}
		if at < 0 {
			return
		}
		d.chosen = append(d.chosen, best)
		d.used[at]++
		d.shift(best, 1)
	}
}

// exchange swaps single notes for better ones on the same string.
func (d *design) exchange() {
	for range 10 {
		changed := false
		for k, old := range d.chosen {
			d.shift(old, -1)
			keep := d.gain(old)
			i, _ := d.board.at(old.String)
			if n, g := d.best(i); g > keep*(1+1e-9) {
				d.chosen[k] = n
				changed = true
			}
			d.shift(d.chosen[k], 1)
		}
		if !changed {
			return
		}
	}
}

// plan puts the notes in order and says why.
func (d *design) plan(strings []int) *Plan {
	e := newForecast(d)
	p := &Plan{Words: d.words(strings)}
	for _, i := range strings {
		s := &d.board.Strings[i]
		p.Expected = append(p.Expected, e.expected(i))
		n := s.Number
		p.Steps = append(p.Steps,
			Step{Note{String: n}, "what every other note of the string is compared with"},
			Step{Note{String: n, Harmonic: 2}, "half the string without a fret: checks the open note and its stiffness"},
			Step{Note{String: n, Harmonic: 3}, "a third of the string: shows a false string, whose harmonics are off"})
		var frets []int
		for _, c := range d.chosen {
			if c.String == n {
				frets = append(frets, c.Fret)
			}
		}
		slices.Sort(frets)
		for _, fret := range frets {
			note := Note{String: n, Fret: fret}
			p.Steps = append(p.Steps, Step{note, e.why(i, note)})
		}
		p.Steps = append(p.Steps, Step{Note{String: n}, "again, to see whether the string has slipped meanwhile"})
	}
	return p
}

// words say what the plan as a whole is about.
func (d *design) words(strings []int) []string {
	words := []string{
		"A wrong nut raises or lowers all fretted notes of a string alike, a wrong saddle the more, the higher the fret; a fret off its place only its own notes. The frets are those that part the three with the smallest standard errors; strings take different frets so that the whole board is heard.",
	}
	s := &d.board.Strings[strings[0]]
	nearest, off := 0, math.Inf(1)
	for k, f := range s.Frets {
		if c := f.Cents - 1200; math.Abs(c) < math.Abs(off)-1e-6 {
			nearest, off = k+1, c
		}
	}
	switch {
	case s.Frets[len(s.Frets)-1].Cents < 1100:
		words = append(words, "The frets end below the octave, and none is needed: each fret is compared with its own interval above the open string.")
	case math.Abs(off) > 1:
		words = append(words, fmt.Sprintf("No fret is an octave (fret %d comes nearest, %+.1f cents from it), and none is needed: each fret is compared with its own interval above the open string.", nearest, off))
	}
	return words
}
