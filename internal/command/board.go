package command

import (
	"fmt"
	"strconv"
	"strings"

	"tunerd/internal/display/figure"
	"tunerd/internal/fretboard"
)

// drawnBoard hands a fretboard to the drawing of figures.
func drawnBoard(b *fretboard.Board) figure.Board {
	d := figure.Board{Title: b.Name}
	if b.SpreadAssumed() {
		d.Note = "The distances between the strings are usual ones; give nut_spread_mm and saddle_spread_mm."
	}
	for i := range b.Strings {
		s := &b.Strings[i]
		d.Strings = append(d.Strings, figure.BoardString{
			Label: s.Open.Label, Nut: figure.Spot(s.At(0)), Saddle: figure.Spot(s.At(s.ScaleMM)),
		})
	}
	slanted := false
	for _, l := range b.Lines() {
		slot := figure.Slot{Label: strconv.Itoa(l.Fret), Points: spots(l.Points)}
		if l.Fret == 0 {
			slot.Label, slot.Kind = "nut", figure.NutSlot
		} else {
			slot.Details = [2]string{fmt.Sprintf("%.2f mm", l.NutMM[0]), fmt.Sprintf("%.2f mm", l.NutMM[1])}
			slanted = slanted || !l.Even()
		}
		d.Slots = append(d.Slots, slot)
	}
	for _, l := range b.SaddleLines() {
		d.Slots = append(d.Slots, figure.Slot{Label: "saddle, uncompensated", Kind: figure.SaddleSlot, Points: spots(l.Points)})
	}
	if slanted {
		d.Note = strings.TrimSpace(fmt.Sprintf("Distances are from the nut: on the right along string 1, on the left along string %d. %s", len(b.Strings), d.Note))
	}
	return d
}

func spots(points []fretboard.Point) []figure.Spot {
	all := make([]figure.Spot, len(points))
	for i, p := range points {
		all[i] = figure.Spot(p)
	}
	return all
}
