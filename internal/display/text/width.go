package text

import (
	"bufio"
	"io"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// mostColumns is how wide paragraphs for people are at most, in characters.
const mostColumns = 100

// Columns is how wide the terminal is that w writes to; 0: it is none, or not known.
func Columns(w io.Writer) int {
	if sized, ok := w.(interface{ Columns() int }); ok {
		return sized.Columns()
	}
	return 0
}

// ParagraphWidth is how long the lines of a paragraph may be in w.
func ParagraphWidth(w io.Writer) int {
	if n := Columns(w); n > 0 {
		return min(n, mostColumns)
	}
	return mostColumns
}

const (
	betweenColumns = "  "
	leastWords     = 24 // characters of a last column of words that is broken into lines
)

// writeColumns writes columns side by side, each of cells of one width, the title first, and after every
// row its remarks. In a terminal that is too narrow for them the last one, if it is words, is broken into
// lines; else the table is written in several parts, each of which begins with the first columns.
func writeColumns(w io.Writer, cols [][]string, remarks func(row int) []string) error {
	out := bufio.NewWriter(w)
	parts, most := foldColumns(cols, Columns(w))
	for i, part := range parts {
		if i > 0 {
			out.WriteString("\n")
		}
		for r := range part[0] {
			writeRow(out, part, r, most)
			if r > 0 && i == len(parts)-1 && remarks != nil {
				for _, remark := range remarks(r - 1) {
					out.WriteString(remark + "\n")
				}
			}
		}
	}
	return out.Flush()
}

// writeRow writes one row of columns. The last cell is broken where it goes beyond most characters; 0: nowhere.
func writeRow(out *bufio.Writer, cols [][]string, row, most int) {
	line, last := "", len(cols)-1
	for _, col := range cols[:last] {
		line += col[row] + betweenColumns
	}
	cell, indent := cols[last][row], ansi.StringWidth(line)
	if most == 0 || indent+ansi.StringWidth(strings.TrimRight(cell, " ")) <= most {
		out.WriteString(strings.TrimRight(line+cell, " ") + "\n")
		return
	}
	for _, words := range Wrap(cell, most-indent) {
		out.WriteString(line + words + "\n")
		line = strings.Repeat(" ", indent)
	}
}

// foldColumns returns the parts of a table that fit into so many characters, and where the last column of
// each is to be broken; 0: nowhere.
func foldColumns(cols [][]string, most int) (parts [][][]string, breakAt int) {
	if len(cols) == 0 {
		return nil, 0
	}
	width := func(cols [][]string) (sum int) {
		for _, col := range cols {
			sum += ansi.StringWidth(col[0]) + len(betweenColumns)
		}
		return sum
	}
	last := len(cols) - 1
	switch {
	case most == 0 || width(cols)-len(betweenColumns) <= most:
		return [][][]string{cols}, 0
	case width(cols[:last])+leastWords <= most && ansi.StringWidth(cols[last][0]) > leastWords:
		return [][][]string{cols}, most
	}
	lead := cols[:1]
	if last > 1 && width(cols[:2]) <= most/2 {
		lead = cols[:2]
	}
	part := lead
	for _, col := range cols[len(lead):] {
		if len(part) > len(lead) && width(part)+ansi.StringWidth(col[0]) > most {
			parts = append(parts, part)
			part = lead
		}
		part = append(part[:len(part):len(part)], col)
	}
	return append(parts, part), most
}
