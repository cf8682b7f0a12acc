// Package pdf writes figures as PDF: a board at 1:1 ([WriteTemplate]), and pages of text with figures ([Document]).
// It is apart from figure, which draws them, for the sake of programs that write none.
package pdf

import (
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"tunerd/internal/display/figure"
)

// A Document is a PDF of upright pages with running text and figures, in mm from the top left. It
// prints in the colours that a figure.Canvas has on a light page. The same content gives the same bytes.
type Document struct {
	pdf   *fpdf.Fpdf
	paper figure.Paper
}

// NewDocument returns a document without pages.
func NewDocument(title string, paper figure.Paper) *Document {
	return &Document{pdf: newFile(title, paper), paper: paper}
}

// Page begins a new page.
func (d *Document) Page() { d.pdf.AddPage() }

// Pages is how many pages there are.
func (d *Document) Pages() int { return d.pdf.PageCount() }

// Size is that of a page, mm.
func (d *Document) Size() (width, height float64) { return d.paper.Width, d.paper.Height }

// Place returns a pen that draws on the page begun last, with its origin at x, y mm and scale mm
// a unit.
func (d *Document) Place(x, y, scale float64) figure.Pen { return placePen{d.pdf, x, y, scale} }

// Lines breaks text into lines of at most width mm in letters of size mm.
func (d *Document) Lines(text string, width, size float64) []string {
	d.pdf.SetFont(fontName, "", size*72/25.4)
	return d.pdf.SplitText(drawable(text), width)
}

// WriteTo writes the PDF; nothing may be added after that.
func (d *Document) WriteTo(w io.Writer) (int64, error) {
	c := &countWriter{w: w}
	err := d.pdf.Output(c)
	return c.n, err
}

type countWriter struct {
	w io.Writer
	n int64
}

func (c *countWriter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// A placePen draws on a part of a page.
type placePen struct {
	pdf         *fpdf.Fpdf
	x, y, scale float64
}

// The light colours of screenStyle, and white.
var (
	inkColour   = [3]int{0x22, 0x20, 0x1c}
	thinColour  = [3]int{0x8a, 0x85, 0x7b}
	markColour  = [3]int{0x1f, 0x6f, 0x8b}
	otherColour = [3]int{0xb0, 0x56, 0x2a}
	faintColour = [3]int{0xd6, 0xd4, 0xd0} // thin at .35 on white
	softColour  = [3]int{0xd2, 0xe2, 0xe8} // a fifth of mark on white
	paperColour = [3]int{0xff, 0xff, 0xff}
)

// styleOf returns how a class of screenStyle looks: the colour of lines and text, that of filled
// circles and rectangles (drawn is false for soft areas, which have no edge), and the width of lines
// in units.
func styleOf(class string) (line, fill [3]int, width float64, filled, drawn bool) {
	line, width, drawn = inkColour, 1, true
	for _, c := range strings.Fields(class) {
		switch c {
		case "ink":
			fill, width, filled = inkColour, 1.5, true
		case "thin":
			line, width = thinColour, 0.75
		case "faint":
			line, width = faintColour, 0.75
		case "mark":
			line, fill, width, filled = markColour, markColour, 2, true
		case "other":
			line, fill, width, filled = otherColour, otherColour, 2, true
		case "soft":
			fill, filled, drawn = softColour, true, false
		case "paper":
			fill, filled = paperColour, true
		}
	}
	return line, fill, width, filled, drawn
}

// begin sets colours and width and returns fpdf's word for what is painted.
func (p placePen) begin(class string) string {
	line, fill, width, filled, drawn := styleOf(class)
	p.pdf.SetDrawColor(line[0], line[1], line[2])
	p.pdf.SetFillColor(fill[0], fill[1], fill[2])
	p.pdf.SetLineWidth(width * p.scale)
	switch {
	case filled && drawn:
		return "FD"
	case filled:
		return "F"
	}
	return "D"
}

func (p placePen) Line(x1, y1, x2, y2 float64, class string) {
	p.begin(class)
	p.pdf.Line(p.x+x1*p.scale, p.y+y1*p.scale, p.x+x2*p.scale, p.y+y2*p.scale)
}

func (p placePen) Rect(x, y, width, height float64, class string) {
	p.pdf.Rect(p.x+x*p.scale, p.y+y*p.scale, width*p.scale, height*p.scale, p.begin(class))
}

func (p placePen) Circle(x, y, radius float64, class string) {
	p.pdf.Circle(p.x+x*p.scale, p.y+y*p.scale, radius*p.scale, p.begin(class))
}

func (p placePen) Path(points [][2]float64, class string) {
	p.begin(class)
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		p.pdf.Line(p.x+a[0]*p.scale, p.y+a[1]*p.scale, p.x+b[0]*p.scale, p.y+b[1]*p.scale)
	}
}

// usualText is the height of letters where none is given, as in screenStyle.
const usualText = 13.0

func (p placePen) Text(x, y, size float64, s, class string) {
	p.text(p.x+x*p.scale, p.y+y*p.scale, size, s, class)
}

func (p placePen) text(x, y, size float64, s, class string) {
	if size == 0 {
		size = usualText
	}
	s = drawable(s)
	line, _, _, _, _ := styleOf(class)
	p.pdf.SetTextColor(line[0], line[1], line[2])
	p.pdf.SetFont(fontName, "", size*p.scale*72/25.4)
	for _, c := range strings.Fields(class) {
		switch c {
		case "end":
			x -= p.pdf.GetStringWidth(s)
		case "label":
			x -= p.pdf.GetStringWidth(s) / 2
		}
	}
	p.pdf.Text(x, y, s)
}

func (p placePen) TextUp(x, y, size float64, s, class string) {
	p.pdf.TransformBegin()
	x, y = p.x+x*p.scale, p.y+y*p.scale
	p.pdf.TransformRotate(90, x, y)
	p.text(x, y, size, s, class)
	p.pdf.TransformEnd()
}
