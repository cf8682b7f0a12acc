package report

import (
	_ "embed"
	"html/template"
	"io"
	"strings"

	"tunerd/internal/display/figure"
)

//go:embed page.html
var pageHTML string

var page = template.Must(template.New("page").Parse(pageHTML))

// WriteHTML writes the report as one page that needs no other file and no network.
func (r *Report) WriteHTML(w io.Writer) error {
	board := r.Map()
	var plots []template.HTML
	for i := range r.Result.Strings {
		s := &r.Result.Strings[i]
		c := figure.NewCanvas(width, plotHeight, "Deviation of the notes of string "+s.Label)
		r.plot(c, s)
		plots = append(plots, inline(c))
	}
	return page.Execute(w, map[string]any{
		"Title": r.Title(), "Facts": r.Facts(), "Moves": r.moves(), "Strings": r.Strings(), "Together": r.Together(),
		"Frets": r.Frets(), "Compared": r.compared(), "ComparedWords": r.ComparedWords(), "Doubts": r.Doubts(),
		"Cautions": r.Cautions(), "Map": inline(board), "Plots": plots,
		"FretTable": r.frets(), "NoteTable": r.notes(), "Program": r.Check.Program,
	})
}

// Map returns the map of the board: every note that was read in its place, and the moves at the
// ends.
func (r *Report) Map() *figure.Canvas {
	c := figure.NewCanvas(width, r.mapHeight(), "Map of the board: how far each note that was read is off")
	r.board(c)
	return c
}

// inline is the figure as part of a page: the canvas escapes what it is given.
func inline(c *figure.Canvas) template.HTML {
	svg := c.SVG()
	return template.HTML(svg[strings.Index(svg, "<svg"):])
}
