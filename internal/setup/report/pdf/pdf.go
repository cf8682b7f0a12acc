// Package pdf writes a report of an intonation check as PDF.
package pdf

import (
	"io"

	"tunerd/internal/display/figure"
	"tunerd/internal/display/figure/pdf"
	"tunerd/internal/setup/report"
)

// Measures of a page of the PDF, mm.
const (
	margin    = 18.0
	textSize  = 3.4
	tableSize = 2.9
	lineGap   = 1.45 // of the letters' height
	headRoom  = 18.0 // of a heading with what keeps it from what follows
)

// A pager sets text, tables and figures down the pages of a document.
type pager struct {
	doc    *pdf.Document
	y      float64
	height float64 // to which a page is filled
	width  float64
}

// Write writes the report.
func Write(w io.Writer, r *report.Report, paper figure.Paper) error {
	doc := pdf.NewDocument(r.Title(), paper)
	across, down := doc.Size()
	p := &pager{doc: doc, height: down - margin, width: across - 2*margin}
	p.newPage()
	p.text(r.Title(), 6, "ink")
	p.all(r.Facts(), "thin")
	p.head("What to do")
	p.table(r.Moves())
	for _, f := range r.Strings() {
		p.keep(12 + float64(len(doc.Lines(f.Text, p.width, textSize)))*textSize*lineGap)
		p.text(f.Name+": "+f.Verdict, textSize*1.1, "mark")
		p.text(f.Text, textSize, "")
	}
	p.all(r.Together(), "")
	p.head("Frets")
	p.all(r.Frets(), "")
	if t := r.Compared(); t != nil {
		p.head("Before and after")
		p.table(*t)
		p.all(r.ComparedWords(), "")
	}
	if doubts := r.Doubts(); len(doubts) > 0 {
		p.head("Doubts")
		p.all(doubts, "")
	}
	p.head("Before you begin")
	p.all(r.Cautions(), "")
	board := r.Map()
	p.keep(headRoom + board.Height*p.scale(board))
	p.head("The board")
	p.figure(board)
	for i := range r.Result.Strings {
		plot := r.StringPlot(i)
		if i == 0 {
			p.keep(headRoom + plot.Height*p.scale(plot))
			p.head("String by string")
		}
		p.figure(plot)
	}
	p.head("Figures")
	p.text("± is one standard error. A place is told as the string feels it: with what stiffness at its ends and most of pressing do to it.", textSize, "")
	p.table(r.FretTable())
	p.table(r.NoteTable())
	if r.Check.Program != "" {
		p.text(r.Check.Program, tableSize, "thin")
	}
	_, err := doc.WriteTo(w)
	return err
}

func (p *pager) newPage() {
	p.doc.Page()
	p.y = margin
}

// keep begins a new page unless so many mm are left on this one.
func (p *pager) keep(mm float64) {
	if p.y+mm > p.height {
		p.newPage()
	}
}

func (p *pager) head(text string) {
	p.keep(30)
	p.y += 4
	p.text(text, textSize*1.4, "ink")
}

func (p *pager) all(texts []string, class string) {
	for _, t := range texts {
		p.text(t, textSize, class)
	}
}

// text sets a paragraph.
func (p *pager) text(s string, size float64, class string) {
	for _, line := range p.doc.Lines(s, p.width, size) {
		p.keep(size * lineGap)
		p.y += size * lineGap
		p.doc.Place(margin, p.y, 1).Text(0, 0, size, line, class)
	}
	p.y += size * 0.5
}

// scale is that of a figure that takes the width of the text, mm a unit.
func (p *pager) scale(f report.Figure) float64 { return p.width / f.Width }

// figure sets a figure in the width of the text.
func (p *pager) figure(f report.Figure) {
	scale := p.scale(f)
	p.keep(f.Height*scale + 3)
	f.Draw(p.doc.Place(margin, p.y, scale))
	p.y += f.Height*scale + 3
}

// table sets a table, with its head again on every page.
func (p *pager) table(t report.Table) {
	const row = tableSize * 1.6
	p.keep(6 * row)
	p.text(t.Title, tableSize, "thin")
	p.tableHead(t)
	for _, cells := range t.Rows {
		if p.y+row > p.height {
			p.newPage()
			p.tableHead(t)
		}
		p.cells(t, cells, row)
		p.doc.Place(margin, p.y+row*0.3, 0.2).Line(0, 0, p.width/0.2, 0, "faint")
	}
	p.y += 4
}

func (p *pager) tableHead(t report.Table) {
	const row = tableSize * 1.6
	p.cells(t, t.Head, row)
	p.doc.Place(margin, p.y+row*0.3, 0.2).Line(0, 0, p.width/0.2, 0, "ink")
}

func (p *pager) cells(t report.Table, cells []string, row float64) {
	p.y += row
	pen := p.doc.Place(margin, p.y, 1)
	x := 0.0
	for i, c := range cells {
		pen.Text(x, 0, tableSize, c, "")
		x += t.Wide[i] * p.width
	}
}
