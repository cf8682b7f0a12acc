package text

import (
	"io"
	"strconv"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"tunerd/internal/display"
)

// NewNoteTable returns a writer of notes as a table with aligned columns. Figures have the
// digits that their uncertainty allows. The table is written by Flush, as the width of a column
// depends on all notes.
func NewNoteTable(w io.Writer) NoteWriter { return &noteTable{w: w} }

type noteTable struct {
	w       io.Writer
	rows    [][]string
	remarks [][]string // lines below each row: what makes it doubtful, its partials
}

// A column of the table; figures are aligned at their decimal point.
type column struct {
	title   string
	figures bool
}

var columns = []column{
	{"file", false}, {"start s", true}, {"length s", true}, {"note", false}, {"string", true}, {"fret", true},
	{"target Hz", true}, {"measured Hz", true}, {"cents", true}, {"±", true}, {"state", false}, {"beat Hz", true},
	{"attack Hz", true}, {"partial 1 Hz", true}, {"inharm. B", true}, {"snr dB", true},
}

func (t *noteTable) WriteNote(n *Note) error {
	hz := func(x float64) string {
		if !(x > 0) || !finite(x) {
			return ""
		}
		return display.Hz(x, n.F1SigmaCents)
	}
	row := []string{Clean(n.File), fixed(n.StartS, 3), fixed(n.EndS-n.StartS, 3)}
	if g := n.Target; g == nil {
		row = append(row, "", "", "", "", hz(n.F1Hz), "", display.Sigma(n.F1SigmaCents), "", "")
	} else {
		str, fret := "", ""
		if g.String > 0 {
			str, fret = strconv.Itoa(g.String), strconv.Itoa(g.Fret)
		}
		row = append(row, Clean(g.Label), str, fret, display.Hz(g.Hz, n.F1SigmaCents), hz(n.F1Hz))
		if finite(n.Cents) {
			row = append(row, display.Cents(n.Cents, n.CentsSigma), display.Sigma(n.CentsSigma), stateText(n),
				display.BeatHz(n.BeatHz, n.F1Hz, n.CentsSigma))
		} else { // a string that does not sound
			row = append(row, "", "", n.State, "")
		}
	}
	stiff := ""
	if finite(n.Inharmonicity) {
		stiff = strconv.FormatFloat(n.Inharmonicity, 'g', 3, 64)
	}
	t.rows = append(t.rows, append(row, hz(n.AttackF1Hz), hz(n.Partial1Hz), stiff, fixed(n.SNRdB, 0)))
	lines := partialLines(n.Partials)
	if n.Doubt != "" {
		lines = append([]string{"    in doubt: " + n.Doubt}, lines...)
	}
	t.remarks = append(t.remarks, lines)
	return nil
}

// stateText is the verdict on a note, with the string that it seems to be instead of the held one.
func stateText(n *Note) string {
	if n.Seems.String == 0 {
		return n.State
	}
	return n.State + ", " + strconv.Itoa(n.Seems.String) + " " + Clean(n.Seems.Label) + "?"
}

// fixed writes a number with fixed decimals, or nothing if it is not known.
func fixed(x float64, digits int) string {
	if !finite(x) {
		return ""
	}
	return display.Fixed(x, digits)
}

func partialLines(partials []Partial) []string {
	var lines []string
	for _, p := range partials {
		lines = append(lines, "    partial "+pad(strconv.Itoa(p.Number), 3)+
			padLeft(display.Hz(p.Hz, p.SigmaCents), 11)+" Hz  off "+
			padLeft(display.Cents(p.OffCents, p.SigmaCents), 7)+" ± "+pad(display.Sigma(p.SigmaCents), 5)+" cents"+
			padLeft(fixed(p.LevelDB, 1), 8)+" dB")
	}
	return lines
}

// Flush writes the table, without the columns in which nothing stands.
func (t *noteTable) Flush() error {
	if len(t.rows) == 0 {
		return nil
	}
	var cells [][]string // the columns that are left, each with its title
	for i, c := range columns {
		if col, ok := t.align(i, c); ok {
			cells = append(cells, col)
		}
	}
	err := writeColumns(t.w, cells, func(row int) []string { return t.remarks[row] })
	t.rows, t.remarks = nil, nil
	return err
}

// align returns column i with its title, all of one width; false if it is empty, or names the
// same file all the way down.
func (t *noteTable) align(i int, c column) ([]string, bool) {
	whole, part, filled, alike := 0, 0, false, true
	for _, row := range t.rows {
		w, p := split(row[i], c.figures)
		whole, part = max(whole, w), max(part, p)
		filled = filled || row[i] != ""
		alike = alike && row[i] == t.rows[0][i]
	}
	if !filled || c.title == "file" && alike {
		return nil, false
	}
	width := max(whole+part, ansi.StringWidth(c.title))
	cells := []string{pad(c.title, width)}
	if c.figures {
		cells[0] = padLeft(c.title, width)
	}
	for _, row := range t.rows {
		_, p := split(row[i], c.figures)
		if c.figures {
			cells = append(cells, padLeft(row[i]+strings.Repeat(" ", part-p), width))
		} else {
			cells = append(cells, pad(row[i], width))
		}
	}
	return cells, true
}

// split returns the widths of s before and from its decimal point.
func split(s string, figures bool) (whole, part int) {
	width := ansi.StringWidth(s)
	if dot := strings.IndexByte(s, '.'); figures && dot >= 0 {
		return dot, width - dot
	}
	return width, 0
}

// pad and padLeft fill s up to a width in cells of the terminal.
func pad(s string, width int) string { return s + blanks(s, width) }

func padLeft(s string, width int) string { return blanks(s, width) + s }

func blanks(s string, width int) string {
	return strings.Repeat(" ", max(width-ansi.StringWidth(s), 0))
}

// hiddenMark stands for a character that is not shown.
const hiddenMark = "·"

// Clean puts a dot for every hidden character, so that a name can neither steer the terminal nor turn
// the line around.
func Clean(s string) string {
	if !strings.ContainsFunc(s, display.Hidden) {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if display.Hidden(r) {
			b.WriteString(hiddenMark)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}
