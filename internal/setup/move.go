package setup

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// bestEnds returns where nut and saddle should stand so that all frets of a string, each counting
// alike, come nearest to their notes in the sense of least squares, with what stiffness and press
// do to them: the only cure that a straight nut and saddle have for these.
func bestEnds(s *String, b, press float64) Ends {
	var ends Ends
	for range fitRounds {
		var nn, ns, ss, n, t float64 // normal matrix and right side of the step
		for _, fret := range s.Frets {
			r := fret.Ratio()
			left := Stiffness(b, r) + press/(r-1) + Deviation(s.ScaleMM, ends, r, 0)
			nut, saddle, _ := slopes(s.ScaleMM, ends, r, 0)
			nn, ns, ss = nn+nut*nut, ns+nut*saddle, ss+saddle*saddle
			n, t = n-nut*left, t-saddle*left
		}
		det := nn*ss - ns*ns
		if det < 1e-9*nn*ss {
			return Ends{} // one fret
		}
		ends.NutMM += (n*ss - t*ns) / det
		ends.SaddleMM += (t*nn - n*ns) / det
	}
	return ends
}

// findMove sets the move of string i, from where the ends stand to where they do best, with its
// standard error, which also holds what is not known of stiffness and press.
func (f *fitting) findMove(i int, out *StringResult, misfit float64) {
	s := &f.board.Strings[i]
	b := max(out.B, 0)
	best := bestEnds(s, b, out.PressCents)
	out.Move = Move{NutMM: best.NutMM - out.Place.NutMM, SaddleMM: best.SaddleMM - out.Place.SaddleMM}

	const db, dp = 1e-6, 1e-3 // steps of the derivatives
	stiffer, higher := bestEnds(s, b+db, out.PressCents), bestEnds(s, b, out.PressCents+dp)
	at := [...]int{f.nut(i), f.saddle(i), f.stiff(i), f.press(i)}
	nut := [...]float64{-1, 0, (stiffer.NutMM - best.NutMM) / db * stiffUnit, (higher.NutMM - best.NutMM) / dp}
	saddle := [...]float64{0, -1, (stiffer.SaddleMM - best.SaddleMM) / db * stiffUnit, (higher.SaddleMM - best.SaddleMM) / dp}
	var vn, vs float64
	for j := range at {
		for k := range at {
			c := f.cov.At(at[j], at[k])
			vn += nut[j] * nut[k] * c
			vs += saddle[j] * saddle[k] * c
		}
	}
	out.MoveSigma = Move{NutMM: misfit * math.Sqrt(max(vn, 0)), SaddleMM: misfit * math.Sqrt(max(vs, 0))}
	out.MoveDoubt = math.Abs(f.moveIfLasting(i).SaddleMM - out.Move.SaddleMM)
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
// errors of strings hang together by the frets that they share, which the covariance of the places
// tells.
func (f *fitting) nutMove(strings []StringResult, misfit float64) *NutMove {
	var at []int
	var weight, move []float64
	sum := 0.0
	for _, s := range strings {
		if s.Determined && s.MoveSigma.NutMM > 0 {
			i, _ := f.board.at(s.Number)
			w := 1 / (s.MoveSigma.NutMM * s.MoveSigma.NutMM)
			at, weight, move = append(at, f.nut(i)), append(weight, w), append(move, s.Move.NutMM)
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
			variance += weight[j] / sum * weight[k] / sum * f.cov.At(at[j], at[k])
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
		r := row{at: [6]int{0, 1}, slope: [6]float64{1, x[i]}, n: 2}
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
