package setup

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// bestEnds returns where nut and saddle should stand, as the string feels them, so that all frets
// of string i, each counting alike, come nearest to their notes in the sense of least squares, with
// what stiffness and press do to them for unknowns x: the only cure that a straight nut and saddle
// have for these.
func (f *frame) bestEnds(i int, x []float64) Ends {
	const step = 1e-3
	p := f.bodyOf(i, x)
	var ends Ends
	for range moveRounds {
		var nn, ns, ss, n, t float64 // normal matrix and right side of the step
		for _, fret := range f.stops[i] {
			left := p.sharpness(ends, fret)
			nut := (p.sharpness(Ends{ends.NutMM + step, ends.SaddleMM}, fret) - left) / step
			saddle := (p.sharpness(Ends{ends.NutMM, ends.SaddleMM + step}, fret) - left) / step
			nn, ns, ss = nn+nut*nut, ns+nut*saddle, ss+saddle*saddle
			n, t = n-nut*left, t-saddle*left
		}
		det := nn*ss - ns*ns
		if det < 1e-9*nn*ss {
			return Ends{} // one fret
		}
		nut, saddle := (n*ss-t*ns)/det, (t*nn-n*ns)/det
		ends.NutMM += nut
		ends.SaddleMM += saddle
		if math.Hypot(nut, saddle) < 1e-6 {
			break
		}
	}
	return ends
}

// moveRounds are enough for a nut that is far too high over narrow frets, the most curved case.
const moveRounds = 12

// findMove sets the move of string i, from where the ends stand to where they do best, with its
// standard error, which also holds what is not known of stiffness and press. It returns how the
// move of the nut hangs on the unknowns.
func (f *fitting) findMove(i int, out *StringResult, misfit float64) (nut row) {
	best := f.bestEnds(i, f.x)
	out.Move = Move{NutMM: best.NutMM - out.Place.NutMM, SaddleMM: best.SaddleMM - out.Place.SaddleMM}
	var saddle row
	const step = 1e-3
	x := slices.Clone(f.x)
	for _, at := range f.ofString(i) {
		x[at] += step
		moved := f.bestEnds(i, x)
		x[at] = f.x[at]
		slope := Move{NutMM: (moved.NutMM - best.NutMM) / step, SaddleMM: (moved.SaddleMM - best.SaddleMM) / step}
		switch at {
		case f.nut(i):
			slope.NutMM--
		case f.saddle(i):
			slope.SaddleMM--
		}
		nut.add(at, slope.NutMM)
		saddle.add(at, slope.SaddleMM)
	}
	sigma := func(r *row) float64 { return misfit * math.Sqrt(max(r.product(f.cov, r), 0)) }
	// As the law of pressing is off by a share, so is what the height of the nut makes of the move.
	x[f.height()] = -x[f.cut(i)]
	low := f.bestEnds(i, x)
	out.MoveSigma = Move{
		NutMM:    math.Hypot(sigma(&nut), pressShare*(low.NutMM-best.NutMM)),
		SaddleMM: math.Hypot(sigma(&saddle), pressShare*(low.SaddleMM-best.SaddleMM)),
	}
	out.MoveDoubt = math.Abs(f.moveIfLasting(i).SaddleMM - out.Move.SaddleMM)
	return nut
}

// moveIfLasting returns the move if the sharpness of each fret is one that stays with it whatever
// is moved, instead of one of places: the equation of MoveFor for all frets, by least squares.
func (f *fitting) moveIfLasting(i int) Move {
	s := &f.board.Strings[i]
	var normal [3]float64 // nn, ns, ss
	var right [2]float64
	for k, fret := range s.Frets {
		r := fret.Ratio()
		sharp := math.Exp2(f.inPlace(i, Note{String: s.Number, Fret: k + 1}) / 1200)
		nut, saddle, want := -sharp, sharp-r, s.ScaleMM*(1-sharp)
		normal[0] += nut * nut
		normal[1] += nut * saddle
		normal[2] += saddle * saddle
		right[0] += nut * want
		right[1] += saddle * want
	}
	det := normal[0]*normal[2] - normal[1]*normal[1]
	if det < 1e-9*normal[0]*normal[2] {
		return Move{}
	}
	return Move{
		NutMM:    (right[0]*normal[2] - right[1]*normal[1]) / det,
		SaddleMM: (right[1]*normal[0] - right[0]*normal[1]) / det,
	}
}

// saddleLine fits one straight saddle through the moves of all strings, each with the weight of
// its standard error; it is nil with fewer than two strings that tell.
func (f *fitting) saddleLine(strings []StringResult) *SaddleLine {
	var y, move, weight []float64
	for _, s := range strings {
		if s.Determined && s.MoveSigma.SaddleMM > 0 {
			i, _ := f.board.at(s.Number)
			y = append(y, f.board.Strings[i].SaddleAcross)
			move = append(move, s.Move.SaddleMM)
			weight = append(weight, 1/(s.MoveSigma.SaddleMM*s.MoveSigma.SaddleMM))
		}
	}
	if len(y) < 2 {
		return nil
	}
	line := &SaddleLine{}
	line.AtMiddleMM, line.PerMM = weightedLine(y, move, weight)
	for k := range strings {
		if s := &strings[k]; s.Determined {
			line.Strings = append(line.Strings, f.lineAt(line, s))
		}
	}
	return line
}

// nutMove averages the nut moves of all strings, each with the weight of its standard error. The
// errors of strings hang together by the frets, the nut and the hand that they share, which the
// covariance of the unknowns tells.
func (f *fitting) nutMove(strings []StringResult, misfit float64) *NutMove {
	var at []row
	var weight, move []float64
	sum := 0.0
	for _, s := range strings {
		if s.Determined && s.MoveSigma.NutMM > 0 {
			i, _ := f.board.at(s.Number)
			w := 1 / (s.MoveSigma.NutMM * s.MoveSigma.NutMM)
			at, weight, move = append(at, f.nutRows[i]), append(weight, w), append(move, s.Move.NutMM)
			sum += w
		}
	}
	if len(at) < 2 {
		return nil
	}
	n := &NutMove{}
	variance := 0.0
	for j := range at {
		n.MM += weight[j] / sum * move[j]
		for k := range at {
			variance += weight[j] / sum * weight[k] / sum * at[j].product(f.cov, &at[k])
		}
	}
	n.Sigma = misfit * math.Sqrt(variance)
	chi := 0.0
	for j := range at {
		chi += weight[j] * (move[j] - n.MM) * (move[j] - n.MM)
	}
	n.Alike = chi < distuv.ChiSquared{K: float64(len(at) - 1)}.Quantile(1-suspicion)
	return n
}

// weightedLine returns a and b of a + b·x nearest to y in the sense of weighted least squares.
func weightedLine(x, y, w []float64) (a, b float64) {
	normal := mat.NewSymDense(2, nil)
	right := make([]float64, 2)
	for i := range x {
		r := row{at: [mostInRow]int{0, 1}, slope: [mostInRow]float64{1, x[i]}, n: 2}
		r.information(normal, 1/w[i])
		right[0] += w[i] * y[i]
		right[1] += w[i] * y[i] * x[i]
	}
	_, solution, err := invert(normal, right)
	if err != nil { // all strings in one place
		return right[0] / normal.At(0, 0), 0
	}
	return solution[0], solution[1]
}

func (f *fitting) lineAt(line *SaddleLine, s *StringResult) LineAtSaddle {
	i, _ := f.board.at(s.Number)
	str := &f.board.Strings[i]
	at := LineAtSaddle{Number: s.Number, MoveMM: line.AtMiddleMM + line.PerMM*str.SaddleAcross}
	at.OffMM = at.MoveMM - s.Move.SaddleMM
	for _, n := range s.Notes {
		if n.Fret == 0 || n.LeftOut {
			continue
		}
		left := FirstOrder(str.ScaleMM, Ends{SaddleMM: at.OffMM}, f.board.ratio(n.Note), 0)
		if math.Abs(left) > math.Abs(at.Cents) {
			at.Cents = left
		}
	}
	return at
}

// Turns returns how often a saddle screw of so many mm a turn is turned for a move.
func Turns(moveMM, threadMM float64) float64 { return moveMM / threadMM }
