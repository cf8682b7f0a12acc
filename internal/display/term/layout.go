package term

// The smallest window that can be drawn into, in cells.
const (
	minWidth  = 40
	minHeight = 12
)

type rect struct{ x, y, w, h int }

// A layout says where the parts of the screen are. A part with height 0 is left out.
//
// When the window shrinks, parts go in this order: the list of strings at the side becomes tiles
// at the bottom, the large letters become smaller, blank rows go, the header goes, tiles shrink
// to one row, then vanish, and the highest bands go. Note, deviation, strobe, message and keys
// stay to the last.
type layout struct {
	header  rect
	head    rect // note, deviation and figures
	scale   int  // of the block letters
	strobe  rect
	guide   rect // what the movement of the strobe means
	list    rect // strings, one a row
	tiles   rect // strings, side by side
	tileW   int
	tileH   int
	message rect
	keys    rect
}

// listWidth is the width of the list of strings.
const listWidth = 30

// arrange lays out a window of at least minWidth by minHeight for a number of strings.
func arrange(w, h, strings int) layout {
	l := layout{scale: 1, message: rect{1, h - 2, w - 2, 1}, keys: rect{1, h - 1, w - 2, 1}}
	top, bottom, width := 0, h-2, w-2
	if h >= 16 {
		l.header = rect{1, 0, w - 2, 1}
		top = 1 + spare(h >= 22)
	}
	list := strings > 0 && w >= 112 && h >= 18
	if strings > 0 && !list && h >= 14 {
		l.placeTiles(w, h, bottom, strings)
		bottom -= l.tiles.h
	}
	bottom -= spare(h >= 20)
	if list {
		width -= listWidth + 1
	}
	l.head = rect{1, top, width, l.headHeight(width, h)}
	if list {
		l.list = rect{w - 1 - listWidth, top, listWidth, l.head.h}
		if strings < l.head.h { // beside the head alone, so the strobe gets the whole width
			width = w - 2
		} else {
			l.list.h = bottom - top
		}
	}
	top += l.head.h + spare(h >= 16)
	l.guide = rect{1, bottom - 1, width, 1}
	l.strobe = rect{1, top, width, bottom - 1 - top}
	return l
}

// headHeight chooses the scale of the letters and returns the height of the head.
func (l *layout) headHeight(width, h int) int {
	switch {
	case h >= 60 && width >= 150:
		l.scale = 4
		return 4*letterRows + 1
	case h >= 32 && width >= 76:
		l.scale = 2
		return 2*letterRows + 2
	case h >= 22:
		return letterRows + 2
	case h >= 18:
		return letterRows + 1
	}
	return letterRows
}

// placeTiles puts the strings side by side above the row bottom: in two rows each if all of them
// fit so, else in one.
func (l *layout) placeTiles(w, h, bottom, strings int) {
	l.tileH = 2
	rows := l.tileRows(w, strings)
	if h < 20 || 2*rows > h/6 {
		l.tileH = 1
		rows = min(l.tileRows(w, strings), max(h/7, 1))
	}
	l.tiles = rect{1, bottom - rows*l.tileH, w - 2, rows * l.tileH}
}

// tileRows sets the width of the tiles and returns how many rows of them hold all strings.
func (l *layout) tileRows(w, strings int) int {
	l.tileW = min(max((w-2)/strings, 12), 18)
	perRow := (w - 2) / l.tileW
	return (strings + perRow - 1) / perRow
}

// spare is one row if there is room for it.
func spare(room bool) int {
	if room {
		return 1
	}
	return 0
}
