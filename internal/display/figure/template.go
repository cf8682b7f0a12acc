package figure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Paper is a size of sheets, upright, in mm. The zero value is one sheet as long as needed.
type Paper struct {
	Name          string
	Width, Height float64
}

// The papers of Papers, by name: ISO 216 A4 and ANSI/ASME Y14.1 A ("letter", 8.5 by 11 inches).
var papers = []Paper{{"a4", 210, 297}, {"letter", 215.9, 279.4}}

// PaperNames are what ParsePaper reads.
func PaperNames() []string {
	var names []string
	for _, p := range papers {
		names = append(names, p.Name)
	}
	return names
}

// ParsePaper returns the paper of that name.
func ParsePaper(name string) (Paper, error) {
	for _, p := range papers {
		if p.Name == name {
			return p, nil
		}
	}
	return Paper{}, fmt.Errorf("paper %q: write a4 or letter", name)
}

// Measures of a template page, in mm.
const (
	pageMargin  = 12.0 // printers leave about 5 mm blank
	headRoom    = 28.0 // title and check line across
	pageOverlap = 16.0 // of what two pages show, with the crosses in its middle
	labelRoom   = 26.0 // beside the board, on both sides
	nutRoom     = 10.0 // before the nut and after the saddle
	checkLength = 100.0
	crossArm    = 4.0
)

// A Pen draws shapes with the classes of a Canvas. A *Canvas is one; so is a place on a page of a PDF.
type Pen interface {
	LinePen
	Rect(x, y, width, height float64, class string)
	Circle(x, y, radius float64, class string)
	Path(points [][2]float64, class string)
}

// A LinePen draws lines and letters, which is all that a template is made of.
type LinePen interface {
	Line(x1, y1, x2, y2 float64, class string)
	Text(x, y, size float64, s, class string)
	TextUp(x, y, size float64, s, class string)
}

// A Template is a board at 1:1 upon pages, the nut on top. Looking at it is looking at the face of
// the board, with string 1 on the right.
type Template struct {
	b     Board
	paper Paper
	pages int
	step  float64 // mm along the neck from one page to the next
	shows float64 // mm along the neck on one page
	start float64 // along the neck at the top of the first page
	half  float64 // half the width of the board
}

// NewTemplate divides the board into pages; with the zero Paper it takes one that fits.
func NewTemplate(b Board, paper Paper) (*Template, error) {
	t := &Template{b: b, paper: paper, pages: 1, start: math.Inf(1)}
	end := math.Inf(-1)
	see := func(p Spot) {
		t.start, end, t.half = min(t.start, p.Along), max(end, p.Along), max(t.half, math.Abs(p.Across))
	}
	for _, s := range b.Strings {
		see(s.Nut)
		see(s.Saddle)
	}
	for _, s := range b.Slots {
		for _, p := range s.Points {
			see(p)
		}
	}
	t.start -= nutRoom
	length := end + nutRoom - t.start
	width := 2 * (t.half + labelRoom + pageMargin)
	if paper == (Paper{}) {
		t.paper = Paper{Width: max(width, checkLength+4*pageMargin), Height: max(length, checkLength+nutRoom) + headRoom + 2*pageMargin}
	}
	if width > t.paper.Width+1e-9 {
		return nil, fmt.Errorf("the board is %.0f mm wide and needs paper of %.0f mm; %s has %g mm", 2*t.half, width, t.paper.Name, t.paper.Width)
	}
	t.shows = t.paper.Height - headRoom - 2*pageMargin
	t.step = t.shows - pageOverlap
	if length > t.shows+1e-9 {
		t.pages = int(math.Ceil((length - pageOverlap) / t.step))
	}
	return t, nil
}

// TemplateSVG draws the board at 1:1, a Canvas a page.
func TemplateSVG(b Board, paper Paper) ([]*Canvas, error) {
	t, err := NewTemplate(b, paper)
	if err != nil {
		return nil, err
	}
	pages := make([]*Canvas, t.pages)
	for i := range pages {
		pages[i] = NewCanvasMM(t.paper.Width, t.paper.Height, b.Title)
		t.Draw(pages[i], i)
	}
	return pages, nil
}

// x and y return where a place lies on a page.
func (t *Template) x(p Spot) float64 { return t.paper.Width/2 - p.Across }

func (t *Template) y(along float64, page int) float64 {
	return pageMargin + headRoom + along - t.start - t.step*float64(page)
}

// Paper is that of every page.
func (t *Template) Paper() Paper { return t.paper }

// Pages is how many pages there are.
func (t *Template) Pages() int { return t.pages }

// Draw draws a page, from 0, in mm from its top left.
func (t *Template) Draw(p LinePen, page int) {
	t.head(p, page)
	top, bottom := pageMargin+headRoom, pageMargin+headRoom+t.shows
	for _, s := range t.b.Strings {
		t.clipped(p, page, s.Nut, s.Saddle, "thin")
	}
	last := [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, s := range t.b.Slots {
		class := "ink"
		if s.Kind != FretSlot {
			class = "mark"
		}
		whole := t.whole(s)
		if whole >= 0 && whole != page {
			continue
		}
		for i := 1; i < len(s.Points); i++ {
			if whole >= 0 {
				t.clipped(p, page, s.Points[i-1], s.Points[i], class)
			} else {
				t.part(p, page, s.Points[i-1], s.Points[i], class)
			}
		}
		t.labels(p, page, s, &last)
	}
	t.numbers(p, page)
	if page > 0 {
		t.crosses(p, page, top+pageOverlap/2)
	}
	if page+1 < t.pages {
		t.crosses(p, page+1, bottom-pageOverlap/2)
	}
	t.checkDown(p, top+nutRoom+pageOverlap)
}

// head writes what the page is, and draws the check line across.
func (t *Template) head(p LinePen, page int) {
	y := pageMargin + 4
	p.Text(pageMargin, y, 4, t.b.Title, "")
	p.Text(pageMargin, y+5, 2.8, fmt.Sprintf("Page %d of %d. Print at 100 %%, not fitted to the page; both check lines must measure 100 mm.", page+1, t.pages), "")
	if t.pages > 1 {
		p.Text(pageMargin, y+9, 2.8, "Lay crosses of the same letter over one another.", "")
	}
	p.Text(pageMargin, y+13, 2.8, t.b.Note, "")
	x := t.paper.Width/2 - checkLength/2
	y = pageMargin + 22
	p.Line(x, y, x+checkLength, y, "ink")
	p.Line(x, y-1.5, x, y+1.5, "ink")
	p.Line(x+checkLength, y-1.5, x+checkLength, y+1.5, "ink")
	p.Text(t.paper.Width/2, y-1, 2.8, "100 mm", "label")
}

// checkDown draws the check line along the neck.
func (t *Template) checkDown(p LinePen, y float64) {
	x := pageMargin + crossArm
	p.Line(x, y, x, y+checkLength, "ink")
	p.Line(x-1.5, y, x+1.5, y, "ink")
	p.Line(x-1.5, y+checkLength, x+1.5, y+checkLength, "ink")
	p.TextUp(x-1, y+checkLength/2, 2.8, "100 mm", "label")
}

// crosses draws the registration marks that page and the one before share.
func (t *Template) crosses(p LinePen, page int, y float64) {
	for _, x := range [2]float64{pageMargin + crossArm, t.paper.Width - pageMargin - crossArm} {
		p.Line(x-crossArm, y, x+crossArm, y, "ink")
		p.Line(x, y-crossArm, x, y+crossArm, "ink")
		p.Text(x+1, y-1, 2.8, string(rune('A'+(page-1)%26)), "")
	}
}

// whole returns the page that a slot stands on: the first that shows all of it, so that no slot is
// there twice, though pages overlap. It is -1 if none does.
func (t *Template) whole(s Slot) int {
	for page := range t.pages {
		from, shown := t.start+t.step*float64(page), true
		for _, p := range s.Points {
			shown = shown && p.Along >= from-1e-9 && p.Along <= from+t.shows+1e-9
		}
		if shown {
			return page
		}
	}
	return -1
}

// own returns the part of the neck that belongs to a page: up to the crosses that it shares with its
// neighbours.
func (t *Template) own(page int) (from, to float64) {
	from, to = t.start+t.step*float64(page), t.start+t.step*float64(page)+t.shows
	if page > 0 {
		from += pageOverlap / 2
	}
	if page+1 < t.pages {
		to -= pageOverlap / 2
	}
	return from, to
}

// part draws what lies between the crosses of the page of a line that no page shows whole.
func (t *Template) part(p LinePen, page int, a, b Spot, class string) {
	from, to := t.own(page)
	if a, b, ok := clip(a, b, from, to); ok {
		p.Line(t.x(a), t.y(a.Along, page), t.x(b), t.y(b.Along, page), class)
	}
}

// clipped draws the part of a line that lies on the page.
func (t *Template) clipped(p LinePen, page int, a, b Spot, class string) {
	from := t.start + t.step*float64(page)
	to := from + t.shows
	a, b, ok := clip(a, b, from, to)
	if ok {
		p.Line(t.x(a), t.y(a.Along, page), t.x(b), t.y(b.Along, page), class)
	}
}

// clip cuts a line to the part between two places along the neck.
func clip(a, b Spot, from, to float64) (Spot, Spot, bool) {
	if max(a.Along, b.Along) < from || min(a.Along, b.Along) > to {
		return a, b, false
	}
	cut := func(p, q Spot) Spot { // p moved into the window on the line to q
		edge := min(max(p.Along, from), to)
		if edge == p.Along {
			return p
		}
		return Spot{edge, p.Across + (q.Across-p.Across)*(edge-p.Along)/(q.Along-p.Along)}
	}
	return cut(a, b), cut(b, a), true
}

// labels writes the number of a slot beside the board, with its distance: on the right if it reaches
// string 1; on the left if it reaches the last, and the right does not say the same of it. Labels
// that would lie on one another are left out.
func (t *Template) labels(p LinePen, page int, s Slot, last *[2]float64) {
	if len(s.Points) < 2 {
		return
	}
	right, left := s.Points[0], s.Points[len(s.Points)-1]
	first, end := t.b.Strings[0], t.b.Strings[len(t.b.Strings)-1]
	has := func(along float64) bool {
		from, to := t.own(page)
		return t.whole(s) == page || along >= from && along < to
	}
	toRight := right.Across <= first.across(right.Along)+1e-6
	if toRight && has(right.Along) {
		t.label(p, page, right.Along, t.x(right)+1.5, strings.TrimSpace(s.Label+"  "+s.Details[0]), "", &last[0])
	}
	if left.Across >= end.across(left.Along)-1e-6 && has(left.Along) && !(toRight && s.Details[0] == s.Details[1]) {
		t.label(p, page, left.Along, t.x(left)-1.5, strings.TrimSpace(s.Details[1]+"  "+s.Label), "end", &last[1])
	}
}

// label writes a label at x; last is the height of the label before it.
func (t *Template) label(p LinePen, page int, along, x float64, text, class string, last *float64) {
	y := t.y(along, page) + 0.9
	if y-*last < 2.6 && y >= *last {
		return
	}
	*last = y
	p.Text(x, y, 2.5, text, class)
}

// numbers writes the numbers of the strings where they come into the page.
func (t *Template) numbers(p LinePen, page int) {
	from := t.start + t.step*float64(page)
	for i, s := range t.b.Strings {
		along := max(from+1, s.Nut.Along-1)
		if along > min(from+t.shows, s.Saddle.Along) {
			continue
		}
		p.Text(t.x(Spot{along, s.across(along)}), t.y(along, page), 2.5, strconv.Itoa(i+1), "label")
	}
}
