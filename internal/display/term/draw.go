package term

import (
	"strconv"

	"tunerd/internal/display"
)

// draw draws a scene on a canvas of w by h cells. The result depends on nothing else.
func (c *canvas) draw(s *scene, w, h int, d depth) {
	c.reset(w, h, d)
	if w < minWidth || h < minHeight {
		c.drawTooSmall(w, h)
		return
	}
	l := arrange(w, h, len(s.frame.Strings))
	if l.header.h > 0 {
		c.drawHeader(l.header, &s.frame)
	}
	switch {
	case s.frame.AllStrings:
		c.drawTogether(rect{1, l.head.y, w - 2, h - 2 - l.head.y}, s)
	case s.frame.Pair != display.Pair{}:
		c.drawPair(rect{1, l.head.y, w - 2, h - 2 - l.head.y}, s)
	default:
		c.drawHead(&l, s)
		c.drawStrobe(l.strobe, s)
		c.drawGuide(l.guide, s)
		c.drawTiles(&l, s)
		c.drawList(l.list, s)
	}
	c.drawMessage(l.message, s)
	c.drawKeys(l.keys, s)
	if s.help > 0 {
		c.drawHelp(w, h, s.help)
	}
}

func (c *canvas) drawTooSmall(w, h int) {
	c.putCentre(0, (h-1)/2, w, "window too small", strong(text))
	c.putCentre(0, (h-1)/2+1, w, strconv.Itoa(w)+"×"+strconv.Itoa(h)+", needs "+
		strconv.Itoa(minWidth)+"×"+strconv.Itoa(minHeight), on(dim))
}

// drawHelp lays a page of the help, from 1, over the middle of the window.
func (c *canvas) drawHelp(w, h, page int) {
	rows := helpRows(h)
	lines := helpText[min((page-1)*rows, len(helpText)):min(page*rows, len(helpText))]
	more := page < helpPages(h)
	r := rect{w: min(w, 50), h: min(h-1, rows+2)}
	r.x, r.y = (w-r.w)/2, (h-1-r.h)/2
	c.fill(r.x, r.y, r.w, r.h, style{fg: text, bg: panel})
	y := r.y + max(r.h-rows, 0)/2
	for i, line := range lines {
		c.put(r.x+2, y+i, r.x+r.w, line.key, style{fg: text, bg: panel, bold: true})
		c.put(r.x+10, y+i, r.x+r.w-1, line.does, style{fg: text, bg: panel})
	}
	if more {
		c.putRight(r.x+r.w-1, r.y+r.h-1, "? more", style{fg: notice, bg: panel, bold: true})
	}
}

// helpRows returns how many lines a page of the help has in a window of h rows.
func helpRows(h int) int {
	if len(helpText) <= h-1 {
		return len(helpText)
	}
	return max(h-2, 1)
}

// helpPages returns how many pages the help has in a window of h rows.
func helpPages(h int) int {
	rows := helpRows(h)
	return (len(helpText) + rows - 1) / rows
}
