package report

import (
	"fmt"
	"math"

	"tunerd/internal/setup"
)

// A Table is shown in HTML and PDF alike.
type Table struct {
	Title string
	Head  []string
	Rows  [][]string
	Wide  []float64 // part of the width that each column takes
}

// Moves is one row a string: what the words say, in figures.
func (r *Report) Moves() Table {
	t := Table{
		Title: "Moves in mm (positive is away from the head), and the worst note in cents",
		Head:  []string{"string", "nut", "saddle", "now", "after", "B", "verdict"},
		Wide:  []float64{0.13, 0.17, 0.17, 0.13, 0.13, 0.12, 0.15},
	}
	for i := range r.Result.Strings {
		s := &r.Result.Strings[i]
		row := []string{fmt.Sprintf("%d %s", s.Number, s.Label), "", "", "", "", fmt.Sprintf("%.2g", s.B), string(s.Verdict)}
		if s.Determined {
			row[1] = fmt.Sprintf("%s ± %s", signed(s.Move.NutMM, 2), sigma(s.MoveSigma.NutMM, 2))
			row[2] = fmt.Sprintf("%s ± %s", signed(s.Move.SaddleMM, 2), sigma(s.MoveSigma.SaddleMM, 2))
			row[3] = signed(s.Now.WorstCents, 1)
			row[4] = signed(s.After.WorstCents, 1)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// FretTable is one row a fret.
func (r *Report) FretTable() Table {
	t := Table{
		Title: "Frets: mm off their places (positive is towards the saddle), by the notes alone",
		Head:  []string{"fret", "heard on", "mm off", "makes cents", ""},
		Wide:  []float64{0.12, 0.3, 0.22, 0.18, 0.18},
	}
	for _, f := range r.Result.Frets {
		row := []string{fmt.Sprint(f.Fret), namesOf(f.Strings), fmt.Sprintf("%s ± %s", signed(f.MM, 2), sigma(f.Sigma, 2)), signed(f.Cents, 1), ""}
		if f.Off {
			row[4] = "off its place"
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// NoteTable is one row a note.
func (r *Report) NoteTable() Table {
	t := Table{
		Title: "All notes: cents off their places above the open string",
		Head:  []string{"note", "pitch", "plucks", "read", "fitted", "rest", "rest in mm", "after"},
		Wide:  []float64{0.21, 0.13, 0.09, 0.15, 0.1, 0.1, 0.12, 0.1},
	}
	for _, s := range r.Result.Strings {
		for _, n := range s.Notes {
			row := []string{n.Text(), n.Label, fmt.Sprint(n.Plucks), fmt.Sprintf("%s ± %s", signed(n.Cents, 1), sigma(n.Sigma, 1)), signed(n.FitCents, 1), signed(n.Residual, 1), "", signed(n.AfterCents, 1)}
			if n.Fret > 0 {
				row[6] = signed(n.ResidualMM, 2)
			}
			if n.LeftOut {
				row[7] = "left out"
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// Compared sets two checks side by side; nil without an earlier one.
func (r *Report) Compared() *Table {
	if r.BeforeResult == nil {
		return nil
	}
	t := &Table{
		Title: "Saddle and nut in mm off where the notes are best (positive is away from the head); the notes in cents",
		Head:  []string{"string", "saddle before", "after", "nut before", "after", "worst before", "after", "mean square"},
		Wide:  []float64{0.11, 0.15, 0.14, 0.14, 0.14, 0.12, 0.08, 0.12},
	}
	for _, c := range setup.Compare(r.BeforeResult, r.Result) {
		place := func(mm, uncertain float64) string { return fmt.Sprintf("%s ± %s", signed(mm, 2), sigma(uncertain, 2)) }
		b, a := c.Before, c.After
		t.Rows = append(t.Rows, []string{
			fmt.Sprintf("%d %s", a.Number, a.Label),
			place(-b.Move.SaddleMM, b.MoveSigma.SaddleMM), place(-a.Move.SaddleMM, a.MoveSigma.SaddleMM),
			place(-b.Move.NutMM, b.MoveSigma.NutMM), place(-a.Move.NutMM, a.MoveSigma.NutMM),
			signed(b.Now.WorstCents, 1), signed(a.Now.WorstCents, 1),
			fmt.Sprintf("%.1f, %.1f", b.Now.RMSCents, a.Now.RMSCents),
		})
	}
	return t
}

// ComparedWords say what became of each string since the earlier check.
func (r *Report) ComparedWords() []string {
	if r.BeforeResult == nil {
		return nil
	}
	var said []string
	for _, c := range setup.Compare(r.BeforeResult, r.Result) {
		text := fmt.Sprintf("String %d: the saddle came %s ± %s mm and the nut %s ± %s mm further from the head; the notes were %.1f cents off in the mean square and are %.1f.",
			c.After.Number, signed(c.SaddleMM, 2), sigma(c.SaddleSigma, 2), signed(c.NutMM, 2), sigma(c.NutSigma, 2), c.Before.Now.RMSCents, c.After.Now.RMSCents)
		if math.Abs(c.LeftMM) > 2*c.LeftSigma {
			more := "further than"
			if c.LeftMM < 0 {
				more = "short of"
			}
			text += fmt.Sprintf(" The saddle stands %.2f ± %s mm %s where its notes are best.", math.Abs(c.LeftMM), sigma(c.LeftSigma, 2), more)
		} else {
			text += " The saddle stands where its notes are best."
		}
		said = append(said, text)
	}
	return said
}
