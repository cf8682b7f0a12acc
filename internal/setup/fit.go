package setup

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Reading is what the plucks of one note come to.
type Reading struct {
	Note
	Cents  float64 // against the pitch on the drawing
	Sigma  float64 // standard error of Cents
	B      float64 // inharmonicity brought to the open string's length
	BSigma float64 // 0: not known
	Plucks int
}

// How many rounds the exact geometry needs: its curvature is a thousandth of its slope a mm, so
// three give all digits.
const fitRounds = 4

// suspicion is the chance that the fit calls anything bad of an instrument on which nothing is.
const suspicion = 0.01

// A fitting is one fit in work.
type fitting struct {
	*frame
	model    Model
	readings []Reading
	mean     []float64 // of the priors
	variance []float64
	x        []float64
	cov      *mat.SymDense
	freed    []int  // slots whose place is left open
	dropped  []bool // readings that are left out
}

// fitAll fits all readings: nut and saddle of each string and the slots of the frets at once, by
// iterated weighted least squares with priors. What does not belong, a fret off its place or a
// note badly played, is found by the size of its standardised residual (W. Baarda, A testing
// procedure for use in geodetic networks, 1968, from memory), taken out of the fit one at a time,
// and reported.
func fitAll(b *Board, readings []Reading, m Model) (*fitting, error) {
	f := &fitting{frame: newFrame(b), model: m, readings: readings, dropped: make([]bool, len(readings))}
	f.mean, f.variance = f.priors(m)
	f.learnStiffness()
	if err := f.solve(); err != nil {
		return nil, err
	}
	most := 1 + len(readings)/6
	for range most {
		if !f.rejectWorst() {
			break
		}
		if err := f.solve(); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// stiffnessScatter is how far B from the partials of one note lies from that of the string, as a
// part of it: partials of real strings keep only so near to any law. No source.
const stiffnessScatter = 0.1

// learnStiffness takes the prior of each string's B from the partials of its open notes, or of all
// its notes if none of those tells.
func (f *fitting) learnStiffness() {
	for i := range f.board.Strings {
		if f.stiffnessFrom(i, Note.Open) {
			continue
		}
		f.stiffnessFrom(i, func(Note) bool { return true })
	}
}

func (f *fitting) stiffnessFrom(i int, use func(Note) bool) bool {
	sum, weight := 0.0, 0.0
	for _, r := range f.readings {
		if r.String != f.board.Strings[i].Number || r.BSigma <= 0 || r.B < 0 || !use(r.Note) {
			continue
		}
		w := 1 / (r.BSigma*r.BSigma + stiffnessScatter*stiffnessScatter*r.B*r.B)
		sum, weight = sum+w*r.B, weight+w
	}
	if weight == 0 {
		return false
	}
	f.mean[f.stiff(i)] = sum / weight / stiffUnit
	f.variance[f.stiff(i)] = 1 / weight / (stiffUnit * stiffUnit)
	return true
}

// solve finds the unknowns and their covariance.
func (f *fitting) solve() error {
	if f.x == nil {
		f.x = slices.Clone(f.mean)
	}
	n := f.size()
	for range fitRounds {
		normal := mat.NewSymDense(n, nil)
		right := make([]float64, n)
		for j := range n {
			normal.SetSym(j, j, 1/f.variance[j])
			right[j] = (f.mean[j] - f.x[j]) / f.variance[j]
		}
		for j, r := range f.readings {
			if f.dropped[j] {
				continue
			}
			y, a := f.predict(r.Note, f.x)
			v := r.Sigma * r.Sigma
			a.information(normal, v)
			for k := range a.n {
				right[a.at[k]] += a.slope[k] * (r.Cents - y) / v
			}
		}
		cov, step, err := invert(normal, right)
		if err != nil {
			return err
		}
		f.cov = cov
		for j := range f.x {
			f.x[j] += step[j]
		}
	}
	for _, x := range f.x {
		if math.IsNaN(x) || math.Abs(x) > 1e6 {
			return errSingular
		}
	}
	return nil
}

// redundant is the least part of a reading's variance that must be left to its residual for that
// to tell anything.
const redundant = 0.02

// rejectWorst takes out the fret or the reading that fits worst, if it fits worse than chance
// allows.
func (f *fitting) rejectWorst() bool {
	worst, reading := 0.0, -1
	tests := 0
	for j := range f.readings {
		if w, ok := f.misfit(j); ok {
			tests++
			if w > worst {
				worst, reading = w, j
			}
		}
	}
	slot := -1
	for k := range f.slots.frets {
		w, ok := f.displaced(k)
		if !ok {
			continue
		}
		tests++
		// A fret that is heard on one string only cannot be told from its reading: it is the fret.
		if w > worst*(1-1e-6) {
			worst, slot = w, k
		}
	}
	if tests == 0 || worst < distuv.UnitNormal.Quantile(1-suspicion/2/float64(tests)) {
		return false
	}
	if slot >= 0 {
		f.freed = append(f.freed, slot)
		f.variance[f.slot(slot)] = looseMM * looseMM
		return true
	}
	f.dropped[reading] = true
	return true
}

// misfit returns the standardised residual of a reading, without sign.
func (f *fitting) misfit(j int) (float64, bool) {
	if f.dropped[j] {
		return 0, false
	}
	r := f.readings[j]
	y, a := f.predict(r.Note, f.x)
	v := r.Sigma * r.Sigma
	left := v - a.quadratic(f.cov)
	return math.Abs(r.Cents-y) / math.Sqrt(left), left > redundant*v
}

// displaced returns the standardised displacement of a slot that is taken to be well placed.
func (f *fitting) displaced(k int) (float64, bool) {
	mm, sigma, ok := f.fretPlace(k)
	prior := f.variance[f.slot(k)]
	return math.Abs(mm) / math.Hypot(sigma, math.Sqrt(prior)), ok && !slices.Contains(f.freed, k)
}

// fretPlace returns how far a slot stands towards the saddle by the readings alone, without what is
// usual of a slot: the estimate x of precision 1/c holds the prior's share 1/v, so that of the
// readings is 1/c − 1/v. It is false if no reading tells.
func (f *fitting) fretPlace(k int) (mm, sigma float64, ok bool) {
	at := f.slot(k)
	v, c := f.variance[at], f.cov.At(at, at)
	if c > 0.999*v {
		return 0, 0, false
	}
	return f.x[at] * v / (v - c), math.Sqrt(c * v / (v - c)), true
}

// misfitRatio returns √(χ²/degrees of freedom) of the fit, at least 1: by so much the standard
// errors are widened where the readings scatter more than they should (R. T. Birge, Phys. Rev. 40,
// 1932, from memory).
func (f *fitting) misfitRatio() (ratio float64, free int) {
	sum := 0.0
	strings := map[int]bool{}
	for j, r := range f.readings {
		strings[r.String] = true
		if f.dropped[j] {
			continue
		}
		y, _ := f.predict(r.Note, f.x)
		sum += (r.Cents - y) * (r.Cents - y) / (r.Sigma * r.Sigma)
		free++
	}
	for k := range f.slots.frets {
		if at := f.slot(k); !slices.Contains(f.freed, k) {
			sum += f.x[at] * f.x[at] / f.variance[at]
		}
	}
	for i := range f.board.Strings {
		for _, at := range [...]int{f.press(i), f.stiff(i)} {
			sum += (f.x[at] - f.mean[at]) * (f.x[at] - f.mean[at]) / f.variance[at]
		}
	}
	// Pitch, nut and saddle of every string and each freed slot take one reading.
	free -= 3*len(strings) + len(f.freed)
	if free < 1 {
		return 1, 0
	}
	return math.Sqrt(max(1, sum/float64(free))), free
}

// enough says what is missing for a fit.
func enough(b *Board, readings []Reading) error {
	for _, s := range b.Strings {
		open, frets := 0, map[int]bool{}
		for _, r := range readings {
			if r.String != s.Number {
				continue
			}
			if r.Fret > 0 {
				frets[r.Fret] = true
			} else {
				open++
			}
		}
		if open > 0 && len(frets) >= 2 {
			return nil
		}
	}
	return fmt.Errorf("too little has been read: no string has both its open note (or a harmonic) and two fretted notes")
}
