package term

import (
	"strconv"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"tunerd/internal/display"
)

// Marks of a string, explained in the help.
const (
	activeMark = "▸"
	heldMark   = "■"
)

// drawHeader names the tuning, the instrument, the reference and the correction of the clock, and at
// the right the input. A name that has no room is left out: half a pitch would be another one. Of the
// first, and of the input, which may be a path, as much is shown as there is room for.
func (c *canvas) drawHeader(r rect, f *display.Frame) {
	end := r.x + r.w
	input := f.Input
	if half := r.w / 2; cellWidth(input) > half {
		input = ansi.TruncateLeft(input, cellWidth(input)-half+1, "…")
	}
	end -= cellWidth(input)
	c.put(end, r.y, r.x+r.w, input, on(dim))
	const between = "  ·  "
	x := r.x + 1
	end -= 2 // room before the input
	for _, part := range []string{f.Tuning, f.Instrument, f.Reference, f.Clock.String()} {
		switch {
		case part == "":
		case x == r.x+1:
			x = c.put(x, r.y, end, ansi.Truncate(part, end-x, "…"), on(dim))
		case x+cellWidth(between)+cellWidth(part) <= end:
			x = c.put(x, r.y, end, between, on(faint))
			x = c.put(x, r.y, end, part, on(dim))
		}
	}
}

// drawMessage writes the message row. What is longer than that covers rows above it, up to half of the
// window, as long as it stands there.
func (c *canvas) drawMessage(r rect, s *scene) {
	msg, urgent := s.status()
	st := on(dim)
	if urgent {
		st = strong(notice)
	}
	if cellWidth(msg) < r.w {
		c.put(r.x+1, r.y, r.x+r.w, msg, st)
		return
	}
	lines := strings.Split(ansi.Wordwrap(msg, r.w-1, ""), "\n")
	lines = lines[:min(len(lines), c.h/2)]
	top := r.y + 1 - len(lines)
	c.fill(0, top, c.w, len(lines), on(text))
	for i, line := range lines {
		c.put(r.x+1, top+i, r.x+r.w, line, st)
	}
}

// drawKeys names the keys, the most needed first, as many as fit.
func (c *canvas) drawKeys(r rect, s *scene) {
	x, end := r.x+1, r.x+r.w
	for _, k := range keyRow {
		if k.strings && len(s.frame.Strings) == 0 {
			continue
		}
		if x+cellWidth(k.key)+1+cellWidth(k.does) > end {
			return
		}
		x = c.put(x, r.y, end, k.key, on(text))
		x = c.put(x+1, r.y, end, k.does, on(dim)) + 3
	}
}

// drawTiles draws the strings side by side, in one or two rows each.
func (c *canvas) drawTiles(l *layout, s *scene) {
	if l.tiles.h == 0 || l.tileW == 0 {
		return
	}
	perRow := l.tiles.w / l.tileW
	rows := window(s.frame.Strings, perRow*(l.tiles.h/l.tileH))
	for i := range rows {
		x, y := l.tiles.x+i%perRow*l.tileW, l.tiles.y+i/perRow*l.tileH
		c.drawTile(rect{x, y, l.tileW, l.tileH}, &rows[i], s)
	}
}

func (c *canvas) drawTile(r rect, row *display.StringRow, s *scene) {
	name, figure := rowStyles(row)
	if row.Active {
		c.fill(r.x, r.y, r.w-1, r.h, style{fg: text, bg: panel})
	}
	end := r.x + r.w - 1
	x := c.put(r.x, r.y, end, mark(row)+strconv.Itoa(row.Number)+" "+row.Label, name)
	if row.Held {
		x = c.put(x, r.y, end, heldMark, name)
	}
	if r.h == 1 && row.Now.Hz > 0 {
		c.put(x+1, r.y, end, rowNow(row, end-x-1), nowStyle(row, s, figure))
		return
	}
	if r.h == 1 {
		c.put(x+1, r.y, end, rowCents(row, end-x-1), figure)
		return
	}
	if row.Now.Hz > 0 {
		half := (end - r.x) / 2
		x = c.put(r.x+1, r.y+1, end, rowCents(row, half-1), figure)
		c.putRight(end, r.y+1, rowNow(row, end-x-1), nowStyle(row, s, figure))
		return
	}
	x = c.put(r.x+1, r.y+1, end, rowCents(row, end-r.x-1), figure)
	if when := rowAge(row, s); x+1+cellWidth(when) <= end {
		figure.fg, figure.bold = dim, false
		c.putRight(end, r.y+1, when, figure)
	}
}

// drawList draws the strings one a row, with everything known about them.
func (c *canvas) drawList(r rect, s *scene) {
	if r.h < 3 {
		return
	}
	c.put(r.x+2, r.y, r.x+10, "string", on(faint))
	c.putRight(r.x+22, r.y, "cents", on(faint))
	last := "heard"
	if s.frame.Pass.Number > 0 {
		last = "now"
	}
	c.putRight(r.x+r.w-1, r.y, last, on(faint))
	for i, row := range window(s.frame.Strings, r.h-1) {
		c.drawListRow(rect{r.x, r.y + 1 + i, r.w, 1}, &row, s)
	}
}

func (c *canvas) drawListRow(r rect, row *display.StringRow, s *scene) {
	x, y, end := r.x, r.y, r.x+r.w
	name, figure := rowStyles(row)
	if row.Active {
		c.fill(x, y, r.w, 1, style{fg: text, bg: panel})
	}
	c.put(x, y, x+4, mark(row)+strconv.Itoa(row.Number), name)
	c.put(x+5, y, x+11, row.Label, name)
	if row.Held {
		c.put(x+11, y, x+15, "held", style{fg: notice, bg: name.bg, bold: true})
	}
	c.putRight(x+22, y, rowCents(row, 7), figure)
	if row.Now.Hz > 0 {
		c.putRight(end-1, y, rowNow(row, 6), nowStyle(row, s, figure))
		return
	}
	figure.fg, figure.bold = dim, false
	c.putRight(end-1, y, rowAge(row, s), figure)
}

// rowStyles returns the styles of the name and of the figures of a string.
func rowStyles(row *display.StringRow) (name, figure style) {
	name, figure = on(dim), on(dim)
	if row.Read {
		figure.fg = text
	}
	if row.Held {
		name.fg = notice
	}
	if row.Active {
		name = style{fg: text, bg: panel, bold: true}
		figure.bg, figure.bold = panel, true
	}
	return name, figure
}

func mark(row *display.StringRow) string {
	if row.Active {
		return activeMark
	}
	return " "
}

// rowCents returns the last reading of a string with as many digits as fit into width cells.
func rowCents(row *display.StringRow, width int) string {
	if !row.Read {
		return "–"
	}
	return shortCents(row.Cents, row.Sigma, 0, 3, func(s string) bool { return cellWidth(s) <= width })
}

// rowAge returns how old the last reading of a string is.
func rowAge(row *display.StringRow, s *scene) string {
	if !row.Read {
		return ""
	}
	return age(s.now() - row.AtS)
}

// window returns n of the rows, chosen so that the active or else the held one is among them.
func window(rows []display.StringRow, n int) []display.StringRow {
	if len(rows) <= n {
		return rows
	}
	at := 0
	for i := range rows {
		if rows[i].Active || rows[i].Held && !rows[at].Active {
			at = i
		}
	}
	from := min(max(at-n/2, 0), len(rows)-n)
	return rows[from : from+n]
}
