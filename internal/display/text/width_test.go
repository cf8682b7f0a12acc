package text

import (
	"bytes"
	"strings"
	"testing"

	"github.com/charmbracelet/x/ansi"
)

type narrow struct {
	bytes.Buffer
	columns int
}

func (n *narrow) Columns() int { return n.columns }

// A table is never wider than its terminal, loses no figure, and names the row in each of its parts; where no terminal
// is, it is as ever.
func TestTablesFitTheirTerminal(t *testing.T) {
	l := &Listing{Columns: []Column{{Name: "s", Title: "string"}, {Name: "n", Title: "note"}}}
	row := []any{12, "C#4 +1"}
	for _, name := range []string{"first", "second", "third", "fourth", "fifth", "sixth", "seventh"} {
		l.Columns = append(l.Columns, Column{Name: name, Title: name + " mm", Decimals: 2})
		row = append(row, 100.25+float64(len(row)))
	}
	l.Rows = [][]any{row, row}
	var whole bytes.Buffer
	if err := l.WriteTable(&whole); err != nil {
		t.Fatal(err)
	}
	for columns := 40; columns <= 120; columns++ {
		out := narrow{columns: columns}
		if err := l.WriteTable(&out); err != nil {
			t.Fatal(err)
		}
		text := out.String()
		for line := range strings.Lines(text) {
			if n := ansi.StringWidth(strings.TrimRight(line, "\n")); n > columns {
				t.Errorf("%d columns: %d in %q", columns, n, line)
			}
		}
		for i := range 7 {
			if n := strings.Count(text, fixed(102.25+float64(i), 2)); n != 2 {
				t.Errorf("%d columns: figure %d stands there %d times", columns, i+1, n)
			}
		}
		for part := range strings.SplitSeq(text, "\n\n") {
			if strings.Count(part, "C#4 +1") != 2 {
				t.Errorf("%d columns: a part does not name its rows:\n%s", columns, part)
			}
		}
		if columns == 120 && text != whole.String() {
			t.Errorf("wide enough:\n%s\nwant\n%s", text, whole.String())
		}
	}
}

// Words at the end of a row are broken between words, below one another.
func TestLastWordsAreBroken(t *testing.T) {
	const words = "not given: tension and fret places are not known"
	l := &Listing{Columns: []Column{{Name: "s", Title: "string"}, {Name: "w", Title: "what"}}, Rows: [][]any{{"1 to 34", words}, {"35", "thin"}}}
	out := narrow{columns: 40}
	if err := l.WriteTable(&out); err != nil {
		t.Fatal(err)
	}
	const want = "string   what\n1 to 34  not given: tension and fret places\n         are not known\n35       thin\n"
	if got := out.String(); strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(want), " ") || !strings.Contains(got, "\n         ") {
		t.Errorf("got\n%s", got)
	}
	for line := range strings.Lines(out.String()) {
		if len(line) > 41 {
			t.Errorf("%q is too long", line)
		}
	}
}
