package setup

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"tunerd/internal/stiffstring"
)

// A Model says how far things usually are from the ideal: the standard deviations of the fit.
type Model struct {
	RepeatCents float64 `json:"repeat_cents"`  // between plucks of one note, before any have been heard
	NoteCents   float64 `json:"note_cents"`    // of a note beside its law, which plucking again does not mend
	SlotMM      float64 `json:"slot_mm"`       // of a well-placed fret
	NutHeightMM float64 `json:"nut_height_mm"` // of the bottom of the nut's slots above the plane of the frets
}

// UsualModel holds for a good instrument and a steady hand. Repeatability, slot and nut height are
// common practice, no source; the scatter of a note is what partials of real strings keep to.
var UsualModel = Model{RepeatCents: 0.3, NoteCents: 0.1, SlotMM: 0.05, NutHeightMM: 0.4}

// elasticOverTension is E·A/T of an ordinary steel string: 140 for a plain 0.254 mm E4 (200 GPa,
// 72.5 N), more for the core of a wound one.
const elasticOverTension = 200.0

// pressSigma is the prior of the press term of a string, cents.
func (m Model) pressSigma(scaleMM float64) float64 {
	return nutShape(elasticOverTension, m.NutHeightMM, scaleMM)
}

// Priors so wide that the readings alone decide.
const (
	looseCents = 1000.0
	looseMM    = 20.0
	looseB     = 5.0 // of B, in units of stiffUnit
)

// stiffUnit is the unit of B among the unknowns, so that all are of a size.
const stiffUnit = 1e-4

// An unknown is the index of one in the list of all: for every string its pitch (cents above the
// drawing's), stiffness, nut, saddle and press term, then the place of every slot.
type unknowns struct{ strings, slots int }

const perString = 5

func (u unknowns) pitch(i int) int  { return i * perString }
func (u unknowns) stiff(i int) int  { return i*perString + 1 }
func (u unknowns) nut(i int) int    { return i*perString + 2 }
func (u unknowns) saddle(i int) int { return i*perString + 3 }
func (u unknowns) press(i int) int  { return i*perString + 4 }
func (u unknowns) slot(k int) int   { return u.strings*perString + k }
func (u unknowns) size() int        { return u.strings*perString + u.slots }

// A row is how one reading hangs on the unknowns: the few that it does, with their slopes.
type row struct {
	at    [6]int
	slope [6]float64
	n     int
}

func (r *row) add(at int, slope float64) {
	r.at[r.n], r.slope[r.n] = at, slope
	r.n++
}

// predict returns the pitch of a note in cents against the drawing, for unknowns x, and its slopes.
func (f *frame) predict(n Note, x []float64) (float64, row) {
	i, _ := f.board.at(n.String)
	u := f.unknowns
	var r row
	r.add(u.pitch(i), 1)
	y := x[u.pitch(i)]
	if n.Open() {
		return y, r
	}
	ratio := f.board.ratio(n)
	b := max(x[u.stiff(i)]*stiffUnit, 0)
	y += Stiffness(b, ratio)
	r.add(u.stiff(i), stiffUnit*stiffstring.CentsByB(b, ratio))
	if n.Harmonic > 0 {
		return y, r
	}
	scale := f.board.Strings[i].ScaleMM
	ends := Ends{NutMM: x[u.nut(i)], SaddleMM: x[u.saddle(i)]}
	slot := u.slot(f.slots.of[i][n.Fret-1])
	y += Deviation(scale, ends, ratio, x[slot]) + x[u.press(i)]/(ratio-1)
	nut, saddle, fret := slopes(scale, ends, ratio, x[slot])
	r.add(u.nut(i), nut)
	r.add(u.saddle(i), saddle)
	r.add(slot, fret)
	r.add(u.press(i), 1/(ratio-1))
	return y, r
}

// A frame is what plan and fit share: the board and the list of unknowns.
type frame struct {
	unknowns
	board *Board
	slots slots
}

func newFrame(b *Board) *frame {
	s := b.slots()
	return &frame{unknowns: unknowns{strings: len(b.Strings), slots: len(s.frets)}, board: b, slots: s}
}

// priors returns mean and variance of every unknown before any reading.
func (f *frame) priors(m Model) (mean, variance []float64) {
	mean, variance = make([]float64, f.size()), make([]float64, f.size())
	for i, s := range f.board.Strings {
		press := m.pressSigma(s.ScaleMM)
		mean[f.stiff(i)] = s.B / stiffUnit
		variance[f.pitch(i)] = looseCents * looseCents
		variance[f.stiff(i)] = looseB * looseB
		variance[f.nut(i)] = looseMM * looseMM
		variance[f.saddle(i)] = looseMM * looseMM
		variance[f.press(i)] = press * press
	}
	for k := range f.slots.frets {
		variance[f.slot(k)] = m.SlotMM * m.SlotMM
	}
	return mean, variance
}

// information adds a row of that variance to the normal matrix.
func (r *row) information(normal *mat.SymDense, variance float64) {
	for a := range r.n {
		for b := a; b < r.n; b++ {
			i, j := r.at[a], r.at[b]
			normal.SetSym(i, j, normal.At(i, j)+r.slope[a]*r.slope[b]/variance)
		}
	}
}

// quadratic returns aᵀ·C·a for the row's slopes a.
func (r *row) quadratic(c *mat.SymDense) float64 {
	sum := 0.0
	for a := range r.n {
		for b := range r.n {
			sum += r.slope[a] * r.slope[b] * c.At(r.at[a], r.at[b])
		}
	}
	return sum
}

var errSingular = errors.New("the readings do not settle the fit")

// invert returns the inverse of a normal matrix and its solution for the right side.
func invert(normal *mat.SymDense, right []float64) (*mat.SymDense, []float64, error) {
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return nil, nil, errSingular
	}
	var cov mat.SymDense
	if err := chol.InverseTo(&cov); err != nil && !isCondition(err) {
		return nil, nil, errSingular
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, mat.NewVecDense(len(right), right)); err != nil && !isCondition(err) {
		return nil, nil, errSingular
	}
	return &cov, x.RawVector().Data, nil
}

// isCondition says whether gonum only warns of a matrix with a large condition number; the
// unknowns differ in size, so that is no news.
func isCondition(err error) bool {
	var c mat.Condition
	return errors.As(err, &c) && !math.IsInf(float64(c), 1)
}
