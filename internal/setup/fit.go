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

// How many rounds the geometry needs: that of the ends has all digits after three, that of a nut far
// too high over narrow frets after some more.
const fitRounds = 8

// suspicion is the chance that the fit calls a fret bad of an instrument on which none is, and the same
// for readings and for slots of the nut. At most 0.5 % of good instruments may have a fret accused;
// half of that is left for what the model does not know.
const suspicion = 0.0025

// A fitting is one fit in work.
type fitting struct {
	*frame
	model    Model
	readings []Reading
	mean     []float64 // of the priors
	variance []float64
	x        []float64
	cov      *mat.SymDense
	freed    []int       // slots whose place is left open
	uneven   []int       // strings, by index, the height of whose nut slot is left open
	dropped  []bool      // readings that are left out
	nutRows  map[int]row // how the nut move of each string, by index, hangs on the unknowns
}

// fitAll fits all readings: nut and saddle of each string, the height of the nut and the slots of
// the frets at once, by iterated weighted least squares with priors. What does not belong, a slot
// of the nut unlike the others, a fret off its place or a note badly played, is found by the size
// of its standardised residual (W. Baarda, A testing procedure for use in geodetic networks, 1968,
// from memory), taken out of the fit one at a time, and reported. What stood out only for want of
// something found later is put back.
func fitAll(b *Board, readings []Reading, m Model) (*fitting, error) {
	f := &fitting{frame: newFrame(b), model: m, readings: readings, dropped: make([]bool, len(readings)), nutRows: map[int]row{}}
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
	return f, f.putBack()
}

// putBack takes frets that no longer stand out as well placed again.
func (f *fitting) putBack() error {
	_, fret, _ := f.suspects()
	least := limit(fret.judged + len(f.freed))
	kept := slices.DeleteFunc(slices.Clone(f.freed), func(k int) bool {
		mm, sigma, ok := f.fretPlace(k)
		return !ok || math.Abs(mm) < least*math.Hypot(sigma, f.model.SlotMM)
	})
	if len(kept) == len(f.freed) {
		return nil
	}
	for _, k := range f.freed {
		if !slices.Contains(kept, k) {
			f.variance[f.slot(k)] = f.model.SlotMM * f.model.SlotMM
		}
	}
	f.freed = kept
	return f.solve()
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
		f.spreadSlots()
		noise := make([]float64, len(f.readings))
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
			noise[j] = f.noise(j)
			a.information(normal, noise[j])
			for k := range a.n {
				right[a.at[k]] += a.slope[k] * (r.Cents - y) / noise[j]
			}
		}
		cov, step, err := invert(normal, right)
		if err != nil {
			return err
		}
		f.cov = cov
		f.take(step, noise)
		if f.settled(step) {
			break
		}
	}
	for _, x := range f.x {
		if math.IsNaN(x) || math.Abs(x) > 1e6 {
			return errSingular
		}
	}
	return nil
}

// settled says whether a step was too small to matter.
func (f *fitting) settled(step []float64) bool {
	const part = 1e-3 // of a standard error
	for j, d := range step {
		if d*d > part*part*f.cov.At(j, j) {
			return false
		}
	}
	return true
}

// take goes a step, or as small a part of it as brings the unknowns nearer to the readings: far from
// the truth the geometry is too curved for a whole one.
func (f *fitting) take(step, noise []float64) {
	from, before := slices.Clone(f.x), f.cost(noise)
	part := 1.0
	for range 5 {
		for j := range f.x {
			f.x[j] = from[j] + part*step[j]
		}
		if f.cost(noise) <= before {
			return
		}
		part /= 2
	}
}

// cost is what the fit minimises, with the variances of the readings as they are given.
func (f *fitting) cost(noise []float64) float64 {
	sum := 0.0
	for j, x := range f.x {
		sum += (x - f.mean[j]) * (x - f.mean[j]) / f.variance[j]
	}
	for j, r := range f.readings {
		if f.dropped[j] {
			continue
		}
		y := f.pitchOf(r.Note, f.x)
		sum += (r.Cents - y) * (r.Cents - y) / noise[j]
	}
	return sum
}

// pressShare is how far the sharpness from pressing is off its law, as a part of it: fingers, slots
// and wires differ. No source.
const pressShare = 0.03

// noise returns the variance of reading j beside the law, cents².
func (f *fitting) noise(j int) float64 {
	r := f.readings[j]
	v := r.Sigma * r.Sigma
	if r.Fret > 0 {
		i, _ := f.board.at(r.String)
		p := f.bodyOf(i, f.x)
		press := pressShare * p.nutSharpness(f.stops[i][r.Fret-1])
		v += press * press
	}
	return v
}

// spreadSlots sets the priors of the single slots of the nut by the height of all that is known so
// far: the square of a height scatters with it.
func (f *fitting) spreadSlots() {
	for i := range f.board.Strings {
		f.variance[f.cut(i)] = cutVariance(min(f.x[f.height()], mostHeightMM*mostHeightMM))
		if slices.Contains(f.uneven, i) {
			f.variance[f.cut(i)] = heightPrior * heightPrior
		}
	}
}

// mostHeightMM is the highest nut that is reckoned with.
const mostHeightMM = 1.5

// redundant is the least part of a reading's variance that must be left to its residual for that
// to tell anything.
const redundant = 0.02

// A suspect is something that may not belong, and by how many standard errors it stands out.
type suspect struct {
	at     int
	out    float64
	judged int // of its kind
}

func (s *suspect) see(at int, out float64, ok bool) {
	if !ok {
		return
	}
	s.judged++
	if s.judged == 1 || out > s.out {
		s.at, s.out = at, out
	}
}

// limit is how many standard errors the worst of so many must stand out by not to be chance.
func limit(judged int) float64 {
	return distuv.UnitNormal.Quantile(1 - suspicion/2/float64(max(judged, 1)))
}

// suspects returns what stands out most among readings, frets and slots of the nut.
func (f *fitting) suspects() (reading, fret, cut suspect) {
	for j := range f.readings {
		out, ok := f.misfit(j)
		reading.see(j, out, ok)
	}
	for k := range f.slots.frets {
		out, ok := f.displaced(k)
		fret.see(k, out, ok)
	}
	for i := range f.board.Strings {
		out, ok := f.unlike(i)
		cut.see(i, out, ok)
	}
	return reading, fret, cut
}

// ratherFret is the part of a reading's residual, in standard errors each, from which its fret is
// what is off, and not the reading: a fret heard on two strings, of which one alone is off, stands
// out by 0.71 of it.
const ratherFret = 0.85

// rejectWorst takes out what fits worst, if it fits worse than chance allows. A slot of the nut
// goes first: one cut too high makes the lowest frets of its string sharp and is lowered before a
// fret is touched. A fret that is heard on one string only cannot be told from its reading: it is
// the fret.
func (f *fitting) rejectWorst() bool {
	reading, fret, cut := f.suspects()
	switch {
	case cut.out >= limit(cut.judged) && cut.out > (1-1e-6)*min(reading.out, fret.out):
		f.uneven = append(f.uneven, cut.at)
	case fret.out >= limit(fret.judged) && fret.out > ratherFret*reading.out:
		f.freed = append(f.freed, fret.at)
		f.variance[f.slot(fret.at)] = looseMM * looseMM
	case reading.out >= limit(reading.judged):
		f.dropped[reading.at] = true
	default:
		return false
	}
	return true
}

// unlike returns the standardised difference of the slot of string i in the nut from those of the
// others.
func (f *fitting) unlike(i int) (float64, bool) {
	at := f.cut(i)
	v, c := f.variance[at], f.cov.At(at, at)
	if slices.Contains(f.uneven, i) || c > (1-redundant)*v {
		return 0, false
	}
	return math.Abs(f.x[at]) / math.Sqrt(v-c), true
}

// misfit returns the standardised residual of a reading, without sign.
func (f *fitting) misfit(j int) (float64, bool) {
	if f.dropped[j] {
		return 0, false
	}
	r := f.readings[j]
	y, a := f.predict(r.Note, f.x)
	v := f.noise(j)
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
		y := f.pitchOf(r.Note, f.x)
		sum += (r.Cents - y) * (r.Cents - y) / f.noise(j)
		free++
	}
	for k := range f.slots.frets {
		if at := f.slot(k); !slices.Contains(f.freed, k) {
			sum += f.x[at] * f.x[at] / f.variance[at]
		}
	}
	for i := range f.board.Strings {
		for _, at := range [...]int{f.elastic(i), f.cut(i), f.action(i), f.stiff(i)} {
			sum += (f.x[at] - f.mean[at]) * (f.x[at] - f.mean[at]) / f.variance[at]
		}
	}
	for _, at := range [...]int{f.height(), f.relief(), f.finger()} {
		sum += (f.x[at] - f.mean[at]) * (f.x[at] - f.mean[at]) / f.variance[at]
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
