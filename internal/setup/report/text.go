package report

import (
	"bufio"
	"fmt"
	"io"

	"tunerd/internal/display/text"
)

// WriteText writes the report for a terminal.
func (r *Report) WriteText(w io.Writer) error {
	out := bufio.NewWriter(w)
	fmt.Fprintln(out, r.Title())
	paragraphs(out, r.Facts())
	fmt.Fprintln(out)
	if err := r.listing().WriteTable(out); err != nil {
		return err
	}
	fmt.Fprintln(out)
	for _, f := range r.Strings() {
		paragraphs(out, []string{f.Name + ". " + f.Text})
	}
	for _, part := range [][]string{r.Together(), r.Frets(), r.ComparedWords(), r.Doubts()} {
		if len(part) > 0 {
			fmt.Fprintln(out)
			paragraphs(out, part)
		}
	}
	fmt.Fprintln(out)
	paragraphs(out, r.Cautions())
	return out.Flush()
}

// listing is the table of moves with figures instead of words.
func (r *Report) listing() *text.Listing {
	l := &text.Listing{Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "note", Title: "note"},
		{Name: "nut", Title: "nut mm", Decimals: 2, Signed: true}, {Name: "nut_sigma", Title: "±", Decimals: 2, Sigma: true},
		{Name: "saddle", Title: "saddle mm", Decimals: 2, Signed: true}, {Name: "saddle_sigma", Title: "± ", Decimals: 2, Sigma: true},
		{Name: "now", Title: "worst cents", Decimals: 1, Signed: true}, {Name: "after", Title: "after", Decimals: 1, Signed: true},
		{Name: "verdict", Title: "verdict"},
	}}
	for i := range r.Result.Strings {
		s := &r.Result.Strings[i]
		row := []any{s.Number, s.Label, nil, nil, nil, nil, nil, nil, string(s.Verdict)}
		if s.Determined {
			row = []any{s.Number, s.Label, s.Move.NutMM, s.MoveSigma.NutMM, s.Move.SaddleMM, s.MoveSigma.SaddleMM, s.Now.WorstCents, s.After.WorstCents, string(s.Verdict)}
		}
		l.Rows = append(l.Rows, row)
	}
	return l
}

// paragraphs writes texts broken into lines.
func paragraphs(w io.Writer, texts []string) {
	for _, t := range texts {
		for _, line := range text.Wrap(t, text.ParagraphWidth(w)) {
			fmt.Fprintln(w, line)
		}
	}
}
