package fretboard

import "math"

// A Point is a place on the board, in mm along the neck and across it.
type Point struct {
	Along  float64 `json:"along_mm"`
	Across float64 `json:"across_mm"`
}

// A Line is one fret slot as it is cut: through one point on every string that it serves, and on
// to half the way to the next string at both ends.
type Line struct {
	Fret    int        `json:"fret"` // number on its first string; 0 is the nut
	Strings [2]int     `json:"-"`    // first and last that it serves, from 1
	NutMM   [2]float64 `json:"-"`    // from the nut along these two
	Points  []Point    `json:"points"`
}

// Even says whether the slot lies as far from the nut on all its strings.
func (l *Line) Even() bool {
	return math.Abs(l.NutMM[1]-l.NutMM[0]) <= maxOneSlot && l.Bend() <= maxOneSlot
}

// Bend is how far the slot departs from the straight line between its first and its last string, in
// mm.
func (l *Line) Bend() float64 {
	a, b := l.Points[1], l.Points[len(l.Points)-2] // the outermost lie beyond the strings
	dx, dy := b.Along-a.Along, b.Across-a.Across
	worst, long := 0.0, math.Hypot(dx, dy)
	for _, p := range l.Points[1 : len(l.Points)-1] {
		if long > 0 {
			worst = max(worst, math.Abs((p.Along-a.Along)*dy-(p.Across-a.Across)*dx)/long)
		}
	}
	return worst
}

// maxOneSlot is how far the same fret may lie apart on two strings, in mm, to be one slot.
const maxOneSlot = 0.005

// Lines returns the slots, the nut first. Neighbouring strings share one where their frets are the
// same interval, or lie in one place along the neck; else every string has its own.
func (b *Board) Lines() []Line {
	var lines []Line
	most := 0
	for i := range b.Strings {
		most = max(most, len(b.Strings[i].Frets))
	}
	for fret := 0; fret <= most; fret++ {
		for _, r := range b.runs(fret) {
			lines = append(lines, b.line(fret, r[0], r[1], func(s *String) float64 { return s.fromNut(fret) }))
		}
	}
	return lines
}

// SaddleLines returns the saddle, one line for all strings that share a nut.
func (b *Board) SaddleLines() []Line {
	var lines []Line
	for _, r := range b.runs(0) {
		lines = append(lines, b.line(0, r[0], r[1], func(s *String) float64 { return s.ScaleMM }))
	}
	return lines
}

// runs returns the first and last of the strings that share a slot of a fret.
func (b *Board) runs(fret int) [][2]int {
	var runs [][2]int
	for first := 0; first < len(b.Strings); first++ {
		if fret > len(b.Strings[first].Frets) {
			continue
		}
		last := first
		for last+1 < len(b.Strings) && b.sameSlot(last, last+1, fret) {
			last++
		}
		runs = append(runs, [2]int{first, last})
		first = last
	}
	return runs
}

// sameSlot says whether two neighbouring strings share the slot of a fret.
func (b *Board) sameSlot(i, j, fret int) bool {
	s, t := &b.Strings[i], &b.Strings[j]
	if fret > len(t.Frets) || fret == 0 && (len(s.Frets) == 0) != (len(t.Frets) == 0) {
		return false
	}
	return math.Abs(s.cents(fret)-t.cents(fret)) <= alike ||
		math.Abs(s.NutAlongMM+s.fromNut(fret)-t.NutAlongMM-t.fromNut(fret)) <= maxOneSlot
}

// fromNut returns the distance of a fret from the nut; 0 is the nut.
func (s *String) fromNut(fret int) float64 {
	if fret == 0 {
		return 0
	}
	return s.Frets[fret-1].NutMM
}

// At returns the place on the string so many mm from its nut.
func (s *String) At(fromNut float64) Point {
	return Point{s.NutAlongMM + fromNut, s.AcrossMM(fromNut)}
}

// AtFret returns the place on the string at a fret; 0 is its nut.
func (s *String) AtFret(fret int) Point { return s.At(s.fromNut(fret)) }

// line runs through strings first to last and half a gap beyond on both sides.
func (b *Board) line(fret, first, last int, fromNut func(*String) float64) Line {
	l := Line{Fret: fret, Strings: [2]int{first + 1, last + 1}, NutMM: [2]float64{fromNut(&b.Strings[first]), fromNut(&b.Strings[last])}}
	points := make([]Point, 0, last-first+3)
	for i := first; i <= last; i++ {
		s := &b.Strings[i]
		points = append(points, s.At(fromNut(s)))
	}
	ahead, behind := b.beyond(points, first, -1), b.beyond(points, last, 1)
	l.Points = append(append([]Point{ahead}, points...), behind)
	return l
}

// beyond prolongs the line of points past string i by half the gap between strings there.
func (b *Board) beyond(points []Point, i, side int) Point {
	end, inner := points[0], points[0]
	if len(points) > 1 {
		inner = points[1]
	}
	if side > 0 {
		end, inner = points[len(points)-1], points[max(len(points)-2, 0)]
	}
	half := b.gap(end.Along-b.Strings[i].NutAlongMM, i) / 2
	slope := 0.0
	if len(points) > 1 {
		slope = (end.Along - inner.Along) / (end.Across - inner.Across)
	}
	return Point{end.Along + slope*half*float64(side), end.Across + half*float64(side)}
}

// gap returns the distance between string i and a neighbour so many mm from the nut.
func (b *Board) gap(fromNut float64, i int) float64 {
	if len(b.Strings) == 1 {
		return usualSaddleGapMM
	}
	j := i - 1
	if i == 0 {
		j = 1
	}
	return math.Abs(b.Strings[j].AcrossMM(fromNut) - b.Strings[i].AcrossMM(fromNut))
}
