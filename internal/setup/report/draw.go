package report

import (
	"fmt"
	"math"

	"tunerd/internal/display/figure"
	"tunerd/internal/setup"
)

// Measures of the figures, in units of 1/96 inch on the screen.
const (
	width      = 760.0
	plotHeight = 224.0
	left       = 64.0
	right      = 20.0
	top        = 34.0
	bottom     = 48.0
	small      = 10.0 // letters
	usual      = 12.0
)

// A Figure is drawn on any pen, in units of its own; y is downwards.
type Figure struct {
	Title         string
	Width, Height float64
	Draw          func(figure.Pen)
}

// Canvas returns the figure as an SVG.
func (f Figure) Canvas() *figure.Canvas {
	c := figure.NewCanvas(f.Width, f.Height, f.Title)
	f.Draw(c)
	return c
}

// StringPlot shows how far the notes of a string, from 0, are off, and what moves make of them.
func (r *Report) StringPlot(i int) Figure {
	s := &r.Result.Strings[i]
	return Figure{"Deviation of the notes of string " + s.Label, width, plotHeight, func(pen figure.Pen) { r.plot(pen, s) }}
}

// Map shows the board: every note that was read in its place, and the moves at the ends.
func (r *Report) Map() Figure {
	return Figure{"Map of the board: how far each note that was read is off", width, r.mapHeight(), r.board}
}

// A stringPlot shows one string: deviation in cents over the place of the fret along the string.
type stringPlot struct {
	pen     figure.Pen
	s       *setup.StringResult
	far     float64 // cents at the top
	last    float64 // mm at the right end
	off     map[int]bool
	nearest float64 // x of the last fret number that was written
}

// plot draws string s in a box of width by plotHeight.
func (r *Report) plot(pen figure.Pen, s *setup.StringResult) {
	p := stringPlot{pen: pen, s: s, off: map[int]bool{}, far: 3, last: 1, nearest: math.Inf(-1)}
	for _, f := range r.Result.Frets {
		p.off[f.Fret] = f.Off
	}
	highest := 0
	for _, n := range s.Notes {
		highest = max(highest, n.Fret)
		p.far = max(p.far, math.Abs(n.Cents)+n.Sigma)
	}
	for _, c := range s.Curve {
		if c.Fret <= highest {
			p.far, p.last = max(p.far, math.Abs(c.Now)), c.NutMM*1.03
		}
	}
	p.far *= 1.1
	p.axes()
	p.curves(highest)
	for i := range s.Notes {
		p.note(&s.Notes[i])
	}
	p.legend()
}

func (p *stringPlot) x(mm float64) float64 { return left + mm/p.last*(width-left-right) }

func (p *stringPlot) y(cents float64) float64 {
	return top + (plotHeight-top-bottom)*(1-(min(max(cents/p.far, -1), 1)+1)/2)
}

func (p *stringPlot) axes() {
	heard := min(setup.HeardCents, p.far)
	p.pen.Rect(left, p.y(heard), width-left-right, p.y(-heard)-p.y(heard), "soft")
	for _, c := range ticks(p.far) {
		p.pen.Line(left, p.y(c), width-right, p.y(c), "faint")
		p.pen.Text(left-8, p.y(c)+4, small, signed(c, decimalsOf(p.far)), "ink end")
	}
	p.pen.Line(left, p.y(0), width-right, p.y(0), "ink")
	p.pen.TextUp(18, (top+plotHeight-bottom)/2, small, "cents, sharp upwards", "thin label")
	p.pen.Text(left, 20, usual, fmt.Sprintf("String %d, %s", p.s.Number, p.s.Label), "ink")
}

// ticks are round values up to far on both sides.
func ticks(far float64) []float64 {
	step := math.Pow(10, math.Floor(math.Log10(far)))
	for _, k := range []float64{0.2, 0.5, 1, 2, 5} {
		if far/(k*step) <= 4 {
			step *= k
			break
		}
	}
	var all []float64
	for c := -math.Floor(far/step) * step; c <= far; c += step {
		all = append(all, c)
	}
	return all
}

func decimalsOf(far float64) int {
	if far < 2 {
		return 1
	}
	return 0
}

// curves draws what the fit makes of every fret up to the highest one read, now and after.
func (p *stringPlot) curves(highest int) {
	var now, after [][2]float64
	for _, c := range p.s.Curve {
		if c.Fret <= highest {
			now = append(now, [2]float64{p.x(c.NutMM), p.y(c.Now)})
			after = append(after, [2]float64{p.x(c.NutMM), p.y(c.After)})
		}
	}
	p.pen.Path(now, "mark")
	p.pen.Path(after, "thin")
}

// note draws a fretted note with two standard errors to both sides.
func (p *stringPlot) note(n *setup.NoteResult) {
	if n.Fret == 0 || n.Fret > len(p.s.Curve) {
		return
	}
	x := p.x(p.s.Curve[n.Fret-1].NutMM)
	class := "ink"
	if n.LeftOut || p.off[n.Fret] {
		class = "other"
	}
	p.pen.Line(x, p.y(n.Cents-2*n.Sigma), x, p.y(n.Cents+2*n.Sigma), class)
	p.pen.Circle(x, p.y(n.Cents), 3.5, class)
	if !n.LeftOut {
		p.pen.Circle(x, p.y(n.AfterCents), 2.5, "paper")
	}
	if x-p.nearest > 16 {
		p.pen.Text(x, plotHeight-bottom+16, small, fmt.Sprint(n.Fret), class+" label")
		p.nearest = x
	}
}

func (p *stringPlot) legend() {
	y := plotHeight - 12
	p.pen.Text(left, y, small, "fret", "thin")
	x := left + 60
	item := func(draw func(x float64), words string, room float64) {
		draw(x)
		p.pen.Text(x+14, y, small, words, "thin")
		x += room
	}
	item(func(x float64) { p.pen.Circle(x+4, y-4, 3.5, "ink") }, "as read, ± 2 standard errors", 182)
	item(func(x float64) { p.pen.Line(x-4, y-4, x+10, y-4, "mark") }, "nut and saddle as they are", 166)
	item(func(x float64) { p.pen.Circle(x+4, y-4, 2.5, "paper") }, "after the moves", 110)
	item(func(x float64) { p.pen.Rect(x-2, y-9, 10, 10, "soft") }, fmt.Sprintf("within %g cents", setup.HeardCents), 100)
}

// Measures of the map.
const (
	mapLeft  = 128.0
	mapRight = 84.0
	mapTop   = 40.0
	mapRow   = 32.0
)

// mapHeight is that of the map of the board.
func (r *Report) mapHeight() float64 {
	return mapTop + mapRow*float64(len(r.Result.Strings)) + 58
}

// board draws the map: every note that was read in its place, and the moves at the ends.
func (r *Report) board(pen figure.Pen) {
	m := boardMap{pen: pen, r: r, high: mapTop + mapRow*float64(len(r.Result.Strings))}
	for i := range r.Result.Strings {
		for _, n := range r.Result.Strings[i].Notes {
			if n.Fret > 0 {
				m.last = max(m.last, r.Result.Strings[i].Curve[n.Fret-1].NutMM)
			}
		}
	}
	m.last *= 1.02
	pen.Text(mapLeft, 18, usual, "Now: how far each note that was read is off, in cents", "ink")
	m.frets()
	for i := range r.Result.Strings {
		m.row(mapTop+mapRow*(float64(i)+0.5), &r.Result.Strings[i])
	}
	m.legend()
}

type boardMap struct {
	pen        figure.Pen
	r          *Report
	last, high float64
}

func (m *boardMap) x(mm float64) float64 {
	return mapLeft + mm/max(m.last, 1)*(width-mapLeft-mapRight)
}

// frets draws the slots of the first string, those off their places stronger.
func (m *boardMap) frets() {
	m.pen.Line(m.x(0), mapTop, m.x(0), m.high, "ink")
	off := map[int]setup.FretResult{}
	for _, f := range m.r.Result.Frets {
		if f.Off {
			off[f.Fret] = f
		}
	}
	written := math.Inf(-1)
	for _, c := range m.r.Result.Strings[0].Curve {
		x := m.x(c.NutMM)
		if x > width-mapRight {
			break
		}
		f, bad := off[c.Fret]
		class, line := "thin", "faint"
		if bad {
			class, line = "other", "other"
		}
		m.pen.Line(x, mapTop, x, m.high, line)
		if bad {
			m.pen.Text(x, m.high+30, small, fmt.Sprintf("%s mm", signed(f.MM, 2)), "other label")
		}
		if x-written > 15 {
			m.pen.Text(x, m.high+15, small, fmt.Sprint(c.Fret), class+" label")
			written = x
		}
	}
}

func (m *boardMap) row(y float64, s *setup.StringResult) {
	m.pen.Line(m.x(0), y, width-mapRight, y, "thin")
	m.pen.Text(8, y+4, small, fmt.Sprintf("%d %s", s.Number, s.Label), "ink")
	if s.Determined {
		m.arrow(m.x(0)-8, y, s.Move.NutMM, s.MoveSigma.NutMM, "end")
		m.arrow(width-mapRight+10, y, s.Move.SaddleMM, s.MoveSigma.SaddleMM, "")
	}
	written := math.Inf(-1)
	for _, n := range s.Notes {
		if n.Fret == 0 {
			continue
		}
		x := m.x(s.Curve[n.Fret-1].NutMM)
		class := "mark"
		switch {
		case n.LeftOut:
			class = "paper"
		case n.Cents > 0:
			class = "other"
		}
		radius := 2 + min(6, 0.8*math.Abs(n.Cents))
		m.pen.Circle(x, y, radius, class)
		if x-written > 30 {
			m.pen.Text(x, y-radius-4, small-1, signed(n.Cents, 1), "ink label")
			written = x
		}
	}
}

// arrow writes a move beside the end of a string: to the right is away from the head.
func (m *boardMap) arrow(x, y, mm, sigma float64, class string) {
	switch {
	case math.Abs(mm) < telling*sigma:
		m.pen.Text(x, y+4, small, "stays", "thin "+class)
	case mm > 0:
		m.pen.Text(x, y+4, small, fmt.Sprintf("%.2f →", mm), "ink "+class)
	default:
		m.pen.Text(x, y+4, small, fmt.Sprintf("← %.2f", -mm), "ink "+class)
	}
}

func (m *boardMap) legend() {
	y := m.high + 48
	m.pen.Text(m.x(0)-8, y, small, "nut, mm", "thin end")
	m.pen.Text(width-mapRight+10, y, small, "saddle, mm", "thin")
	x := m.x(0) + 16
	m.pen.Circle(x, y-4, 5, "other")
	m.pen.Text(x+10, y, small, "sharp", "thin")
	m.pen.Circle(x+64, y-4, 5, "mark")
	m.pen.Text(x+74, y, small, "flat", "thin")
	m.pen.Text(x+120, y, small, "the larger, the further off; the line of a fret off its place is thick", "thin")
}
