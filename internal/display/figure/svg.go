package figure

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// A Canvas collects shapes. The zero value is of no use; see NewCanvas and NewCanvasMM.
type Canvas struct {
	width, height float64
	unit          string // of the printed size: "" for user units, else "mm"
	title         string
	style         string
	body          strings.Builder
}

// NewCanvas returns an empty canvas of so many user units (CSS pixels) for the screen. The title
// is read out by screen readers.
func NewCanvas(width, height float64, title string) *Canvas {
	return &Canvas{width: width, height: height, title: title, style: screenStyle}
}

// NewCanvasMM returns an empty canvas whose unit is the millimetre of a print at 1:1. It is
// black on white whatever the reader's setting.
func NewCanvasMM(width, height float64, title string) *Canvas {
	return &Canvas{width: width, height: height, unit: "mm", title: title, style: printStyle}
}

// Size returns the width and height in user units.
func (c *Canvas) Size() (width, height float64) { return c.width, c.height }

// The style sheets. The classes that shapes may carry:
//
//	ink     strong lines and text      thin   fine lines, secondary text
//	mark    what the figure is about   soft   an area in the colour of mark
//	other   a second series            paper  filled with the background
//	label   text centred on its place  end    text that ends at its place
//	faint   lines of a grid
//
// Widths are those of the unit: pixels on the screen, millimetres in print.
//
// Colours are written out in every rule: of the programs that print SVG many know no CSS variables.
var (
	screenStyle = `svg{font:13px sans-serif}.ink{stroke-width:1.5}.thin{stroke-width:.75}.mark,.other{stroke-width:2}
` + coloured("#fbfaf7", "#22201c", "#8a857b", "#1f6f8b", "#b0562a") +
		"@media (prefers-color-scheme:dark){" + coloured("#1b1d1f", "#e9e6df", "#8d9095", "#6cc3de", "#e39a6d") + "}\n"
	printStyle = `svg{font:3px sans-serif}line,path,circle,rect{stroke-width:.2}.thin{stroke-width:.1}.mark,.other{stroke-width:.3}
` + coloured("#fff", "#000", "#555", "#000", "#777")
)

// coloured returns the rules in which colours stand.
func coloured(paper, ink, thin, mark, other string) string {
	return strings.NewReplacer("$paper", paper, "$ink", ink, "$thin", thin, "$mark", mark, "$other", other).Replace(
		`svg{background:$paper}line,path{fill:none}line,path,circle,rect{stroke:$ink}text{fill:$ink}
.thin,.faint{stroke:$thin}text.thin{fill:$thin}.faint{stroke-opacity:.35}
.mark{stroke:$mark}circle.mark,rect.mark,text.mark{fill:$mark}
.other{stroke:$other}circle.other,rect.other,text.other{fill:$other}
.soft{stroke:none;fill:$mark;fill-opacity:.2}circle.paper,rect.paper,path.paper{fill:$paper}circle.ink,rect.ink{fill:$ink}
circle.thin,rect.thin{fill:none}text.mark,text.other,text.thin{stroke:none}.label{text-anchor:middle}.end{text-anchor:end}
`)
}

// Line draws a line from x1, y1 to x2, y2.
func (c *Canvas) Line(x1, y1, x2, y2 float64, class string) {
	c.shape(`<line x1="%s" y1="%s" x2="%s" y2="%s"%s/>`, num(x1), num(y1), num(x2), num(y2), classAttr(class))
}

// Rect draws a rectangle with its top left corner at x, y.
func (c *Canvas) Rect(x, y, width, height float64, class string) {
	c.shape(`<rect x="%s" y="%s" width="%s" height="%s"%s/>`, num(x), num(y), num(width), num(height), classAttr(class))
}

// Circle draws a circle.
func (c *Canvas) Circle(x, y, radius float64, class string) {
	c.shape(`<circle cx="%s" cy="%s" r="%s"%s/>`, num(x), num(y), num(radius), classAttr(class))
}

// Path draws the open line through the points; fewer than two draw nothing.
func (c *Canvas) Path(points [][2]float64, class string) {
	if len(points) < 2 {
		return
	}
	parts := make([]string, len(points))
	for i, p := range points {
		parts[i] = num(p[0]) + " " + num(p[1])
	}
	c.shape(`<path d="M%s"%s/>`, strings.Join(parts, "L"), classAttr(class))
}

// Text writes s with its baseline at x, y: from x on, or as the classes label and end say.
// Size is the height of the letters in user units; 0 is the style sheet's.
func (c *Canvas) Text(x, y, size float64, s, class string) {
	c.rotated(x, y, size, 0, s, class)
}

// TextUp writes s reading upwards.
func (c *Canvas) TextUp(x, y, size float64, s, class string) {
	c.rotated(x, y, size, -90, s, class)
}

func (c *Canvas) rotated(x, y, size, degrees float64, s, class string) {
	extra := ""
	if size > 0 {
		extra = ` font-size="` + num(size) + `"`
	}
	if degrees != 0 {
		extra += fmt.Sprintf(` transform="rotate(%s %s %s)"`, num(degrees), num(x), num(y))
	}
	c.shape(`<text x="%s" y="%s"%s%s>%s</text>`, num(x), num(y), extra, classAttr(class), escape(s))
}

func (c *Canvas) shape(format string, args ...any) {
	fmt.Fprintf(&c.body, format+"\n", args...)
}

// WriteTo writes the SVG document.
func (c *Canvas) WriteTo(w io.Writer) (int64, error) {
	n, err := io.WriteString(w, c.SVG())
	return int64(n), err
}

// SVG returns the document. The same shapes give the same bytes.
func (c *Canvas) SVG() string {
	w, h := num(c.width), num(c.height)
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%s%s\" height=\"%s%s\" viewBox=\"0 0 %s %s\" role=\"img\">\n<title>%s</title>\n<style>\n%s</style>\n%s</svg>\n",
		w, c.unit, h, c.unit, w, h, escape(c.title), c.style, c.body.String())
}

func classAttr(class string) string {
	if class == "" {
		return ""
	}
	return ` class="` + escape(class) + `"`
}

// num writes a length with up to four decimals: a tenth of a micrometre in print. What is not a
// finite number has no place in a picture and becomes 0.
func num(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "0"
	}
	s := strconv.FormatFloat(x, 'f', 4, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// escape makes s safe in text and in attributes, and drops what XML 1.0 does not allow at all.
func escape(s string) string {
	return escaper.Replace(strings.Map(xmlRune, strings.ToValidUTF8(s, "\ufffd")))
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;")

func xmlRune(r rune) rune {
	if r < ' ' && r != '\t' && r != '\n' || r == 0xfffe || r == 0xffff {
		return -1
	}
	return r
}
