// Package html writes a report of an intonation check as one HTML page.
//
// It is apart from report, as a template that is executed keeps every exported method of every type in a program,
// which makes one for a browser half as large again.
package html

import (
	_ "embed"
	"html/template"
	"io"
	"strings"

	"tunerd/internal/display/figure"
	"tunerd/internal/setup/report"
)

//go:embed page.html
var pageHTML string

var page = template.Must(template.New("page").Parse(pageHTML))

// Write writes the report as one page that needs no other file and no network.
func Write(w io.Writer, r *report.Report) error {
	var plots []template.HTML
	for i := range r.Result.Strings {
		plots = append(plots, inline(r.StringPlot(i).Canvas()))
	}
	return page.Execute(w, map[string]any{
		"Title": r.Title(), "Facts": r.Facts(), "Moves": r.Moves(), "Strings": r.Strings(), "Together": r.Together(),
		"Frets": r.Frets(), "Compared": r.Compared(), "ComparedWords": r.ComparedWords(), "Doubts": r.Doubts(),
		"Cautions": r.Cautions(), "Map": inline(r.Map().Canvas()), "Plots": plots,
		"FretTable": r.FretTable(), "NoteTable": r.NoteTable(), "Program": r.Check.Program,
	})
}

// inline is the figure as part of a page: the canvas escapes what it is given.
func inline(c *figure.Canvas) template.HTML {
	svg := c.SVG()
	return template.HTML(svg[strings.Index(svg, "<svg"):])
}
