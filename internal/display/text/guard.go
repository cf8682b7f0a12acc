package text

import (
	"io"
	"unicode/utf8"

	"tunerd/internal/display"
)

// A Guard writes to a terminal, and lets no hidden character through but the line feed, the tab and
// the return to the start of the line: whatever stands in a file or in a name, it cannot steer the
// terminal. Each of the others becomes a dot. A character may be split between two writes.
type Guard struct {
	w    io.Writer
	part []byte // the beginning of a character
	out  []byte

	columns func() int // nil: not known
}

// NewGuard returns a Guard before w.
func NewGuard(w io.Writer) *Guard { return &Guard{w: w} }

// Sized tells g how wide its terminal is, which it asks for when that matters; 0: not known.
func (g *Guard) Sized(columns func() int) *Guard {
	g.columns = columns
	return g
}

// Columns is how wide the terminal is, in characters; 0: not known.
func (g *Guard) Columns() int {
	if g.columns == nil {
		return 0
	}
	return g.columns()
}

// Unguarded is what w guards, or w itself: for what the program itself draws.
func Unguarded(w io.Writer) io.Writer {
	if g, ok := w.(*Guard); ok {
		return g.w
	}
	return w
}

func (g *Guard) Write(p []byte) (int, error) {
	text := append(g.part, p...)
	g.out = g.out[:0]
	for len(text) > 0 && utf8.FullRune(text) {
		r, n := utf8.DecodeRune(text)
		switch {
		case r == '\n' || r == '\t' || r == '\r' || !display.Hidden(r):
			g.out = utf8.AppendRune(g.out, r)
		default:
			g.out = append(g.out, hiddenMark...)
		}
		text = text[n:]
	}
	g.part = append([]byte(nil), text...)
	if _, err := g.w.Write(g.out); err != nil {
		return 0, err
	}
	return len(p), nil
}
