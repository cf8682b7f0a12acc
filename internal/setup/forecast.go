package setup

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A forecast tells what standard errors the notes of a design lead to under the model of the fit.
type forecast struct {
	*design
	notes    []Note
	variance []float64 // priors
	cov      *mat.SymDense
}

func newForecast(d *design) *forecast {
	f := &forecast{design: d, notes: append(slices.Clone(d.fixed), d.chosen...)}
	_, f.variance = d.priors(d.o.Model)
	for i := range d.board.Strings {
		f.variance[d.stiff(i)] = 0.1 * 0.1
	}
	f.cov = f.without(Note{})
	return f
}

// without returns the covariance with all notes but one.
func (f *forecast) without(left Note) *mat.SymDense {
	normal := mat.NewSymDense(f.size(), nil)
	for j, v := range f.variance {
		normal.SetSym(j, j, 1/v)
	}
	for _, n := range f.notes {
		if n == left {
			continue
		}
		_, a := f.predict(n, f.x)
		a.information(normal, f.noise())
	}
	cov, _, err := invert(normal, make([]float64, f.size()))
	if err != nil { // priors make it regular
		return f.cov
	}
	return cov
}

// byReadings is the standard error of a slot by the readings alone, as fretPlace has it.
func (f *forecast) byReadings(cov *mat.SymDense, at int) float64 {
	v, c := f.variance[at], cov.At(at, at)
	if c > 0.999*v {
		return math.Inf(1)
	}
	return math.Sqrt(c * v / (v - c))
}

func (f *forecast) expected(i int) Expected {
	e := Expected{
		Number: f.board.Strings[i].Number,
		NutMM:  math.Sqrt(f.cov.At(f.nut(i), f.nut(i))), SaddleMM: math.Sqrt(f.cov.At(f.saddle(i), f.saddle(i))),
	}
	var frets []float64
	for _, n := range f.chosen {
		if n.String == e.Number {
			frets = append(frets, f.byReadings(f.cov, f.slot(f.slots.of[i][n.Fret-1])))
		}
	}
	slices.Sort(frets)
	if n := len(frets); n > 0 && !math.IsInf(frets[n/2], 1) {
		e.FretMM = frets[n/2]
	}
	return e
}

// why says what a fretted note is there for: what would be known worst without it.
func (f *forecast) why(i int, n Note) string {
	cov := f.without(n)
	root := func(c *mat.SymDense, at int) float64 { return math.Sqrt(c.At(at, at)) }
	nut, saddle := root(cov, f.nut(i))/root(f.cov, f.nut(i)), root(cov, f.saddle(i))/root(f.cov, f.saddle(i))
	slot := f.slot(f.slots.of[i][n.Fret-1])
	fret, without := f.byReadings(f.cov, slot), f.byReadings(cov, slot)
	itself := fmt.Sprintf("fret %d itself, to ±%.2f mm", n.Fret, fret)
	if math.IsInf(fret, 1) {
		itself = "too few frets to tell this one by itself"
	} else if math.IsInf(without, 1) {
		itself += "; no other string has it in the plan"
	}
	help := func(what string, at int) string {
		with, left := fmt.Sprintf("±%.2f", root(f.cov, at)), fmt.Sprintf("±%.2f", root(cov, at))
		if with == left {
			return itself
		}
		return fmt.Sprintf("%s: without it %s instead of %s mm; %s", what, left, with, itself)
	}
	switch {
	case nut > telling && nut >= saddle:
		return help("the nut", f.nut(i))
	case saddle > telling:
		return help("the saddle", f.saddle(i))
	}
	return itself
}

// telling is by how much the standard error of nut or saddle must grow without a note for that to
// be what the note is for.
const telling = 1.08
