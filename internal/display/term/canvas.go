package term

import (
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"

	"tunerd/internal/display"
)

// A style is how a cell is drawn.
type style struct {
	fg, bg ink
	bold   bool
}

// on is the plain style of an ink on the ground.
func on(fg ink) style { return style{fg: fg, bg: ground} }

// strong is the bold style of an ink on the ground.
func strong(fg ink) style { return style{fg: fg, bg: ground, bold: true} }

// A cell is one character position. A character two cells wide has the empty text in its
// second cell.
type cell struct {
	text string
	st   style
}

// A canvas is a grid of cells that is drawn afresh for every frame and then encoded.
// Nothing written to it can reach outside it.
type canvas struct {
	w, h  int
	depth depth
	cells []cell
	out   []byte
}

// reset makes the canvas w by h cells of ground.
func (c *canvas) reset(w, h int, d depth) {
	c.w, c.h, c.depth = w, h, d
	if cap(c.cells) < w*h {
		c.cells = make([]cell, w*h)
	}
	c.cells = c.cells[:w*h]
	c.fill(0, 0, w, h, on(text))
}

// fill blanks a rectangle.
func (c *canvas) fill(x, y, w, h int, st style) {
	for row := max(y, 0); row < min(y+h, c.h); row++ {
		for col := max(x, 0); col < min(x+w, c.w); col++ {
			c.set(col, row, " ", st)
		}
	}
}

// set writes one character of one cell and mends a wide one that it cuts.
func (c *canvas) set(x, y int, s string, st style) {
	if x < 0 || y < 0 || x >= c.w || y >= c.h {
		return
	}
	i := y*c.w + x
	if c.cells[i].text == "" && x > 0 {
		c.cells[i-1].text = " "
	}
	if x+1 < c.w && c.cells[i+1].text == "" {
		c.cells[i+1].text = " "
	}
	c.cells[i] = cell{s, st}
}

// put writes s from x on, cuts it at the column end (exclusive) and returns the column after it.
func (c *canvas) put(x, y, end int, s string, st style) int {
	end = min(end, c.w)
	for len(s) > 0 && x < end {
		cluster, width := nextCluster(s)
		s = s[len(cluster):]
		if width == 0 {
			continue
		}
		if unprintable(cluster) {
			cluster = "·"
		}
		if x+width > end {
			break
		}
		c.set(x, y, cluster, st)
		for i := 1; i < width; i++ {
			c.set(x+i, y, " ", st)
			c.cells[y*c.w+x+i].text = ""
		}
		x += width
	}
	return x
}

// putWhole writes s if it fits before the column end, and returns the column after it.
func (c *canvas) putWhole(x, y, end int, s string, st style) int {
	if x+cellWidth(s) > end {
		return x
	}
	return c.put(x, y, end, s, st)
}

// putRight writes s so that it ends before the column end.
func (c *canvas) putRight(end, y int, s string, st style) {
	c.put(end-cellWidth(s), y, end, s, st)
}

// putCentre writes s in the middle of the columns x to end.
func (c *canvas) putCentre(x, y, end int, s string, st style) {
	c.put(max(x, x+(end-x-cellWidth(s))/2), y, end, s, st)
}

// nextCluster returns the first character of s, with the marks that belong to it, and its width
// in cells. A control character counts as one cell: it is drawn as a dot, never sent.
func nextCluster(s string) (string, int) {
	if s[0] < utf8.RuneSelf && (len(s) == 1 || s[1] < utf8.RuneSelf) {
		return s[:1], 1
	}
	cluster, width := ansi.FirstGraphemeCluster(s, ansi.WcWidth)
	if unprintable(cluster) {
		width = 1
	}
	return cluster, width
}

// unprintable reports whether a cluster begins with a hidden character or is no UTF-8.
func unprintable(cluster string) bool {
	r, _ := utf8.DecodeRuneInString(cluster)
	return display.Hidden(r) || r == utf8.RuneError
}

// cellWidth returns the width of s in cells, as put counts it.
func cellWidth(s string) int {
	n := 0
	for len(s) > 0 {
		cluster, width := nextCluster(s)
		s = s[len(cluster):]
		n += width
	}
	return n
}

// encode writes the grid as lines of text in which a style is set only where it changes. The
// slice is reused by the next call.
func (c *canvas) encode() []byte {
	out := c.out[:0]
	var last style
	first := true
	for i := range c.cells {
		if i > 0 && i%c.w == 0 {
			out = append(out, '\n')
		}
		cell := &c.cells[i]
		if cell.text == "" {
			continue
		}
		if first || cell.st != last {
			out = c.appendStyle(out, cell.st, last, first)
			last, first = cell.st, false
		}
		out = append(out, cell.text...)
	}
	c.out = append(out, "\x1b[m"...)
	return c.out
}

// appendStyle appends the sequence that turns the style last into st.
func (c *canvas) appendStyle(out []byte, st, last style, first bool) []byte {
	p := &palettes[c.depth]
	start := len(out)
	out = append(out, "\x1b["...)
	body := len(out)
	add := func(param string) {
		if param == "" {
			return
		}
		if len(out) > body {
			out = append(out, ';')
		}
		out = append(out, param...)
	}
	if first || st.bold != last.bold {
		if st.bold {
			add("1")
		} else if !first {
			add("22")
		}
	}
	if first || st.fg != last.fg {
		add(p.fg[st.fg])
	}
	if first || st.bg != last.bg {
		add(p.bg[st.bg])
	}
	if len(out) == body {
		return out[:start]
	}
	return append(out, 'm')
}
