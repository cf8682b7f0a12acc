package figure

import "math"

// A Board is a fretboard to draw. Places are in mm along the neck, from the nut that stands
// farthest out, and across it, from the middle; string 1 is on the negative side.
type Board struct {
	Title   string
	Note    string // below the title of a template
	Strings []BoardString
	Slots   []Slot
}

// A BoardString runs from its nut to its saddle.
type BoardString struct {
	Label       string
	Nut, Saddle Spot
}

// A Slot is the line of one fret, nut or saddle.
type Slot struct {
	Label string // "12"
	Kind  SlotKind
	// Details stand beside the label on the template, such as "324.00 mm": on the side of string 1,
	// and on that of the last.
	Details [2]string
	Points  []Spot
}

// A SlotKind tells frets from what ends the string.
type SlotKind int

// The kinds of slots.
const (
	FretSlot SlotKind = iota
	NutSlot
	SaddleSlot
)

// A Spot is a place on the board in mm.
type Spot struct{ Along, Across float64 }

// A Mark is something to show on a string.
type Mark struct {
	Spot
	Label string
	Kind  MarkKind
}

// A MarkKind says how a mark is drawn.
type MarkKind int

// The kinds of marks.
const (
	DotMark    MarkKind = iota // a filled dot
	RingMark                   // a ring
	TouchMark                  // a short line across the string
	SilentMark                 // a string that is not played
)

// A Panel is one picture of the board with its marks and a line of words.
type Panel struct {
	Caption string
	Marks   []Mark
}

// Measures of the screen drawing, in pixels.
const (
	boardWidth  = 1040.0
	boardLeft   = 64.0 // for the names of strings
	boardRight  = 24.0
	stringGap   = 24.0
	boardTop    = 40.0 // title
	captionRoom = 30.0
	numberRoom  = 22.0
	loneGap     = 10.5 // mm that a lone string has to itself
)

// DrawBoard draws the panels below one another for the screen, the nut at the left and string 1 on
// top. It is to scale along the neck; across it the strings lie evenly so that labels fit.
func DrawBoard(b Board, panels []Panel) *Canvas {
	high := stringGap * float64(len(b.Strings))
	panel := captionRoom + high + numberRoom
	c := NewCanvas(boardWidth, boardTop+panel*float64(len(panels))+8, b.Title)
	c.Text(boardLeft, 24, 15, b.Title, "")
	d := boardDrawing{Canvas: c, b: b}
	d.from, d.to = d.window(panels)
	d.scale = (boardWidth - boardLeft - boardRight) / (d.to - d.from)
	for i, p := range panels {
		d.top = boardTop + panel*float64(i) + captionRoom
		d.draw(p)
	}
	return c
}

type boardDrawing struct {
	*Canvas
	b        Board
	top      float64 // of the panel's strings
	from, to float64 // mm along the neck that are shown
	scale    float64 // pixels a mm
}

// window shows all slots and marks, and the saddle only if there is no fret.
func (d *boardDrawing) window(panels []Panel) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	see := func(p Spot) { from, to = min(from, p.Along), max(to, p.Along) }
	for _, s := range d.b.Slots {
		for _, p := range s.Points {
			if s.Kind != SaddleSlot {
				see(p)
			}
		}
	}
	for _, panel := range panels {
		for _, m := range panel.Marks {
			see(m.Spot)
		}
	}
	for _, s := range d.b.Strings {
		if len(d.b.Slots) == 0 || to-from < (s.Saddle.Along-from)/5 {
			see(s.Saddle)
		}
	}
	return from - (to-from)/40, to + (to-from)/25
}

func (d *boardDrawing) x(along float64) float64 { return boardLeft + (along-d.from)*d.scale }

// y returns the height of a place between the strings, which lie evenly whatever their distance.
func (d *boardDrawing) y(p Spot) float64 {
	n := len(d.b.Strings)
	row := p.Across / loneGap
	if n > 1 {
		i := 0
		for i+2 < n && p.Across > d.b.Strings[i+1].across(p.Along) {
			i++
		}
		here, next := d.b.Strings[i].across(p.Along), d.b.Strings[i+1].across(p.Along)
		row = float64(i) + (p.Across-here)/(next-here)
	}
	return d.top + stringGap*(min(max(row, -0.5), float64(n)-0.5)+0.5)
}

func (s BoardString) across(along float64) float64 {
	t := (along - s.Nut.Along) / (s.Saddle.Along - s.Nut.Along)
	return s.Nut.Across + t*(s.Saddle.Across-s.Nut.Across)
}

func (d *boardDrawing) draw(p Panel) {
	d.Text(boardLeft, d.top-10, 0, p.Caption, "")
	for i, s := range d.b.Strings {
		y := d.top + stringGap*(float64(i)+0.5)
		d.Line(d.x(max(s.Nut.Along, d.from)), y, d.x(min(s.Saddle.Along, d.to)), y, "thin")
		d.Text(boardLeft-8, y+4, 12, s.Label, "end")
	}
	for _, s := range d.b.Slots {
		d.slot(s)
	}
	d.numbers()
	for _, m := range p.Marks {
		d.mark(m)
	}
}

// slot draws one slot as far as it is shown.
func (d *boardDrawing) slot(s Slot) {
	points := make([][2]float64, len(s.Points))
	seen := false
	for i, p := range s.Points {
		points[i] = [2]float64{d.x(p.Along), d.y(p)}
		seen = seen || p.Along <= d.to
	}
	class := "thin"
	if s.Kind != FretSlot {
		class = "ink"
	}
	if seen {
		d.Path(points, class)
	}
}

// numbers writes the number of every fret below the slot that reaches lowest, if there is room
// after the last number.
func (d *boardDrawing) numbers() {
	lowest := map[string]Spot{}
	for _, s := range d.b.Slots {
		end := s.Points[len(s.Points)-1]
		if at, ok := lowest[s.Label]; s.Kind == FretSlot && (!ok || end.Across > at.Across) {
			lowest[s.Label] = end
		}
	}
	last := math.Inf(-1)
	for _, s := range d.b.Slots { // in order, unlike the map
		end := s.Points[len(s.Points)-1]
		if x := d.x(end.Along); s.Kind == FretSlot && end == lowest[s.Label] && x-last >= 18 {
			d.Text(x, d.y(end)+13, 11, s.Label, "label thin")
			last = x
		}
	}
}

func (d *boardDrawing) mark(m Mark) {
	x, y := d.x(m.Along), d.y(m.Spot)
	switch m.Kind {
	case DotMark:
		d.Circle(x, y, 5.5, "mark")
	case RingMark:
		d.Circle(x, y, 5, "other paper")
	case TouchMark:
		d.Line(x, y-6, x, y+8, "mark")
		d.Text(x, y-8, 9, m.Label, "label")
		return
	case SilentMark:
		d.Line(x-4, y-4, x+4, y+4, "ink")
		d.Line(x-4, y+4, x+4, y-4, "ink")
	}
	if m.Label != "" {
		d.Text(x+8, y-3, 10.5, m.Label, "")
	}
}
