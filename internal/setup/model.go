package setup

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Model says how far things usually are from the ideal: the standard deviations of the fit.
type Model struct {
	RepeatCents float64 `json:"repeat_cents"`    // between plucks of one note, before any have been heard
	NoteCents   float64 `json:"note_cents"`      // of a note beside its law, which plucking again does not mend
	SlotMM      float64 `json:"slot_mm"`         // of a well-placed fret
	NutHeightMM float64 `json:"nut_height_mm"`   // of the bottom of the nut's slots above the plane of the frets, as they usually are
	ReliefMM    float64 `json:"relief_mm"`       // how deep the neck is bowed
	ReliefSigma float64 `json:"relief_sigma_mm"` // standard error of ReliefMM; 0: nothing is known of it
}

// UsualModel holds for a good instrument and a steady hand. Repeatability, slot, nut height and
// relief are common practice, no source; the scatter of a note is what partials of real strings
// keep to.
var UsualModel = Model{RepeatCents: 0.3, NoteCents: 0.1, SlotMM: 0.05, NutHeightMM: 0.4, ReliefMM: 0.15, ReliefSigma: 0.1}

// reliefRead is the standard error of a relief that was measured, mm: feeler gauges and a
// straightedge. Common practice, no source.
const reliefRead = 0.03

// WithRelief returns the model for a neck whose relief was measured.
func (m Model) WithRelief(mm float64) Model {
	m.ReliefMM, m.ReliefSigma = mm, reliefRead
	return m
}

// Priors so wide that the readings alone decide.
const (
	looseCents = 1000.0
	looseMM    = 20.0
	looseB     = 5.0 // of B, in units of stiffUnit
)

// stiffUnit is the unit of B among the unknowns, so that all are of a size.
const stiffUnit = 1e-4

// heightPrior is the standard deviation of the square of the nut's height, mm²: so wide that slots
// 1.2 mm high are no surprise, and the readings decide.
const heightPrior = 1.0

// unknowns number what a fit finds: for every string its pitch (cents above the drawing's),
// stiffness, nut, saddle, elasticity (ln of it over what the file says), how much the square of its
// slot's height differs from that of all, and action; then what all strings share, the square of
// the nut's height, relief and finger; then the place of every fret slot.
type unknowns struct{ strings, slots int }

const (
	perString = 7
	ofAll     = 3
)

func (u unknowns) pitch(i int) int   { return i * perString }
func (u unknowns) stiff(i int) int   { return i*perString + 1 }
func (u unknowns) nut(i int) int     { return i*perString + 2 }
func (u unknowns) saddle(i int) int  { return i*perString + 3 }
func (u unknowns) elastic(i int) int { return i*perString + 4 }
func (u unknowns) cut(i int) int     { return i*perString + 5 }
func (u unknowns) action(i int) int  { return i*perString + 6 }
func (u unknowns) height() int       { return u.strings * perString }
func (u unknowns) relief() int       { return u.strings*perString + 1 }
func (u unknowns) finger() int       { return u.strings*perString + 2 }
func (u unknowns) slot(k int) int    { return u.strings*perString + ofAll + k }
func (u unknowns) size() int         { return u.strings*perString + ofAll + u.slots }

// ofString lists the unknowns that the fretted notes of string i hang on, but for its pitch and the
// slots.
func (u unknowns) ofString(i int) [9]int {
	return [9]int{u.nut(i), u.saddle(i), u.stiff(i), u.elastic(i), u.cut(i), u.action(i), u.height(), u.relief(), u.finger()}
}

// mostInRow is how many unknowns a fretted note hangs on: those of its string, those of all, its slot.
const mostInRow = perString + ofAll + 1

// A row is how one reading hangs on the unknowns: the few that it does, with their slopes.
type row struct {
	at    [mostInRow]int
	slope [mostInRow]float64
	n     int
}

func (r *row) add(at int, slope float64) {
	r.at[r.n], r.slope[r.n] = at, slope
	r.n++
}

// pitchOf returns the pitch of a note in cents against the drawing, for unknowns x.
func (f *frame) pitchOf(n Note, x []float64) float64 {
	i, _ := f.board.at(n.String)
	y := x[f.pitch(i)]
	switch {
	case n.Harmonic > 0:
		y += Stiffness(max(x[f.stiff(i)]*stiffUnit, 0), float64(n.Harmonic))
	case n.Fret > 0:
		y += f.fretted(i, n.Fret-1, x, x[f.slot(f.slots.of[i][n.Fret-1])])
	}
	return y
}

// predict returns pitchOf with its slopes.
func (f *frame) predict(n Note, x []float64) (float64, row) {
	i, _ := f.board.at(n.String)
	var r row
	r.add(f.pitch(i), 1)
	y := f.pitchOf(n, x)
	slope := func(at int, step float64) {
		kept := x[at]
		x[at] += step
		r.add(at, (f.pitchOf(n, x)-y)/step)
		x[at] = kept
	}
	const step = 1e-4 // mm, mm², nepers or units of stiffUnit
	switch {
	case n.Harmonic > 0:
		slope(f.stiff(i), step)
	case n.Fret > 0:
		for _, at := range f.ofString(i) {
			slope(at, step)
		}
		slope(f.slot(f.slots.of[i][n.Fret-1]), step)
	}
	return y, r
}

// leastB keeps the slope by B finite.
const leastB = 1e-8

// bodyOf returns string i for unknowns x as far as they are possible, so that a round of the fit that
// goes too far finds back.
func (f *frame) bodyOf(i int, x []float64) body {
	s := &f.board.Strings[i]
	elastic, _ := s.elasticity()
	return body{
		scaleMM:   s.ScaleMM,
		b:         max(x[f.stiff(i)]*stiffUnit, leastB),
		elastic:   elastic * math.Exp(within(x[f.elastic(i)], -1.5, 1.5)),
		heightMM2: within(x[f.height()]+x[f.cut(i)], -mostHeightMM*mostHeightMM, 2*mostHeightMM*mostHeightMM),
		actionMM:  within(x[f.action(i)], 0.5, 6),
		reliefMM:  within(x[f.relief()], -1, 1),
		fingerMM:  within(x[f.finger()], 0, 15),
	}
}

func within(x, low, high float64) float64 { return min(max(x, low), high) }

// ends returns where nut and saddle of string i stand, as the string feels them.
func (f *frame) ends(i int, x []float64) Ends {
	return Ends{NutMM: x[f.nut(i)], SaddleMM: x[f.saddle(i)]}
}

// fretted returns how far the note of fret k (from 0) of string i lies off its place above the open
// string, cents, if the fret stands that far off its own.
func (f *frame) fretted(i, k int, x []float64, offMM float64) float64 {
	p := f.bodyOf(i, x)
	fret := f.stops[i][k]
	fret.offMM = offMM
	return p.sharpness(f.ends(i, x), fret)
}

// A frame is what plan and fit share: the board and the list of unknowns.
type frame struct {
	unknowns
	board *Board
	slots slots
	stops [][]stop // by string and fret, both from 0
}

func newFrame(b *Board) *frame {
	s := b.slots()
	f := &frame{unknowns: unknowns{strings: len(b.Strings), slots: len(s.frets)}, board: b, slots: s}
	for i := range b.Strings {
		stops := make([]stop, len(b.Strings[i].Frets))
		for k := range stops {
			stops[k] = b.Strings[i].stop(k)
		}
		f.stops = append(f.stops, stops)
	}
	return f
}

// priors returns mean and variance of every unknown before any reading.
func (f *frame) priors(m Model) (mean, variance []float64) {
	mean, variance = make([]float64, f.size()), make([]float64, f.size())
	for i, s := range f.board.Strings {
		_, spread := s.elasticity()
		mean[f.stiff(i)] = s.B / stiffUnit
		variance[f.pitch(i)] = looseCents * looseCents
		variance[f.stiff(i)] = looseB * looseB
		variance[f.nut(i)] = looseMM * looseMM
		variance[f.saddle(i)] = looseMM * looseMM
		variance[f.elastic(i)] = spread * spread
		mean[f.action(i)], variance[f.action(i)] = actionMM, actionSD*actionSD
		variance[f.cut(i)] = cutVariance(m.NutHeightMM * m.NutHeightMM)
	}
	mean[f.height()], variance[f.height()] = m.NutHeightMM*m.NutHeightMM, heightPrior*heightPrior
	mean[f.relief()], variance[f.relief()] = m.ReliefMM, m.ReliefSigma*m.ReliefSigma
	if m.ReliefSigma == 0 {
		mean[f.relief()], variance[f.relief()] = UsualModel.ReliefMM, UsualModel.ReliefSigma*UsualModel.ReliefSigma
	}
	mean[f.finger()], variance[f.finger()] = fingerMM, fingerSD*fingerSD
	for k := range f.slots.frets {
		variance[f.slot(k)] = m.SlotMM * m.SlotMM
	}
	return mean, variance
}

// cutVariance is that of the square of one slot's height about heightMM2, the square of the height
// of all, mm⁴: (h+δ)² − h² = 2·h·δ + δ² for slots that differ by δ.
func cutVariance(heightMM2 float64) float64 {
	const v = cutMM * cutMM
	return 4*max(heightMM2, 0)*v + 3*v*v
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
func (r *row) quadratic(c *mat.SymDense) float64 { return r.product(c, r) }

// product returns aᵀ·C·b for the slopes a and b of two rows.
func (r *row) product(c *mat.SymDense, other *row) float64 {
	sum := 0.0
	for a := range r.n {
		for b := range other.n {
			sum += r.slope[a] * other.slope[b] * c.At(r.at[a], other.at[b])
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
