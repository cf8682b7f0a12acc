package term

import (
	"math"
	"strconv"

	"tunerd/internal/display"
)

// scaleCents are the marks of the scale on which all strings are shown at once. It is wide where
// strings are nearly in tune: a deviation stands at its square root.
var scaleCents = [...]float64{-60, -20, -5, -1, 0, 1, 5, 20, 60}

// scaleEnd is the deviation at the ends of the scale, cents.
const scaleEnd = 60

// Columns of a string where all are shown at once.
const (
	togetherCents = 14 // where the deviation begins
	togetherState = 32
	togetherScale = 41
	leastScale    = 21 // cells; below that there is no scale
)

// scaleCell returns the cell of a deviation on a scale of w cells.
func scaleCell(cents float64, w int) int {
	part := math.Sqrt(math.Min(math.Abs(cents), scaleEnd) / scaleEnd)
	return int(math.Round(float64(w-1) / 2 * (1 + math.Copysign(part, cents))))
}

// drawTogether draws all strings, each against its own target, into r.
func (c *canvas) drawTogether(r rect, s *scene) {
	rows := s.frame.Strings
	if len(rows) == 0 || r.h < 2 {
		c.drawNothing(r, s)
		return
	}
	step := 1
	if r.h >= 2*len(rows)+1 {
		step = 2
	}
	scale := rect{r.x + togetherScale, r.y, r.w - togetherScale - 1, 1}
	if scale.w >= leastScale {
		c.drawScaleMarks(scale)
	}
	c.put(r.x+togetherCents, r.y, r.x+togetherState, "cents", on(faint))
	if s.frame.Pass.Number > 0 {
		c.put(r.x+togetherState, r.y, r.x+togetherScale-1, "now", on(faint))
	}
	for i, row := range window(rows, (r.h-1)/step) {
		y := r.y + 1 + i*step
		c.drawTogetherRow(rect{r.x, y, r.w, 1}, &row, s)
		if scale.w >= leastScale {
			scale.y = y
			c.drawOnScale(scale, &row, s)
		}
	}
}

// drawScaleMarks names the marks of the scale.
func (c *canvas) drawScaleMarks(r rect) {
	free := r.x
	for _, cents := range scaleCents {
		label := minus(strconv.FormatFloat(cents, 'f', -1, 64))
		if cents > 0 {
			label = "+" + label
		}
		x := max(r.x, min(r.x+scaleCell(cents, r.w)-cellWidth(label)/2, r.x+r.w-cellWidth(label)))
		if x >= free {
			free = c.put(x, r.y, r.x+r.w, label, on(faint)) + 1
		}
	}
}

// drawTogetherRow writes number, name, deviation and state of a string.
func (c *canvas) drawTogetherRow(r rect, row *display.StringRow, s *scene) {
	name, figure := on(dim), on(dim)
	if row.Active {
		name, figure = strong(text), strong(rowTint(row).ink())
	}
	c.put(r.x, r.y, r.x+4, mark(row)+strconv.Itoa(row.Number), name)
	c.put(r.x+5, r.y, r.x+togetherCents-1, row.Label, name)
	if row.Read {
		x := c.put(r.x+togetherCents, r.y, r.x+togetherState, rowCents(row, 8), figure)
		c.putWhole(x+1, r.y, r.x+togetherState, "± "+display.Sigma(row.Sigma), on(dim))
	}
	if row.Now.Hz > 0 {
		c.put(r.x+togetherState, r.y, r.x+min(r.w, togetherScale-1), rowNow(row, togetherScale-togetherState-1), nowStyle(row, s, figure))
		return
	}
	state := row.Verdict
	switch {
	case !row.Active && row.Read && state == "silent":
		state = rowAge(row, s)
	case state == "":
		state = "–"
	}
	c.put(r.x+togetherState, r.y, r.x+min(r.w, togetherScale-1), state, figure)
}

// drawOnScale shows the deviation of a string on the scale, with its uncertainty where that is
// wider than a cell.
func (c *canvas) drawOnScale(r rect, row *display.StringRow, s *scene) {
	c.drawEmptyScale(r)
	defer c.drawNow(r, row, s)
	if !row.Read || !row.Active && s.now()-row.AtS > 5 {
		return
	}
	st := on(faint)
	if row.Active {
		st = strong(rowTint(row).ink())
	}
	c.drawDeviation(r, row.Cents, row.Sigma, st)
}

// drawNow marks on the scale what the string is to be tuned to now.
func (c *canvas) drawNow(r rect, row *display.StringRow, s *scene) {
	if row.Now.Hz > 0 && row.Turn > 0 {
		c.put(r.x+scaleCell(row.Now.Cents, r.w), r.y, r.x+r.w, "◇", nowStyle(row, s, on(dim)))
	}
}

func (c *canvas) drawEmptyScale(r rect) {
	for _, cents := range scaleCents {
		c.put(r.x+scaleCell(cents, r.w), r.y, r.x+r.w, "·", on(faint))
	}
	c.put(r.x+scaleCell(0, r.w), r.y, r.x+r.w, "│", on(dim))
}

// drawDeviation marks a deviation on a scale, with its uncertainty where that is wider than a cell.
func (c *canvas) drawDeviation(r rect, cents, sigma float64, st style) {
	c.drawEmptyScale(r)
	from, to := scaleCell(cents-sigma, r.w), scaleCell(cents+sigma, r.w)
	for x := from; x <= to; x++ {
		c.put(r.x+x, r.y, r.x+r.w, "─", st)
	}
	c.put(r.x+scaleCell(cents, r.w), r.y, r.x+r.w, "●", st)
}

// rowTint is the colour family of the verdict on a string.
func rowTint(row *display.StringRow) tint {
	switch row.Verdict {
	case "flat":
		return flatTint
	case "sharp":
		return sharpTint
	case "in tune":
		return tuneTint
	}
	return openTint
}
