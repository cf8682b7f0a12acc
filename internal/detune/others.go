package detune

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
)

// CommonChords are the chords whose shapes are looked at if nothing is said: major and minor
// triads, and an octave parted by a fifth.
const CommonChords = "4:5:6, 10:12:15, 2:3:4"

// Bounds of common shapes: the reach of a hand and the errors of tempered thirds.
const (
	commonSpanMM = 100
	commonCents  = 25
)

// CommonShapes returns the shapes in which chords of whole numbers lie on the instrument as it is,
// each note once: within 100 mm, four fingers, 25 cents, and the first octave of every string. A
// shape that can be moved along the neck is returned once, at its lowest place.
func CommonShapes(ctx context.Context, in *targets.Instrument, chords []targets.Chord) ([]Chord, error) {
	board, err := fretboard.New(in, fretboard.Options{})
	if err != nil {
		return nil, err
	}
	var all []Chord
	for _, c := range chords {
		notes := c.Notes()
		if len(notes) > len(in.Strings) {
			continue
		}
		shapes, err := board.Shapes(ctx, fretboard.ChordQuery{Notes: notes, SpanMM: commonSpanMM, WithinCents: commonCents, Fret: -1})
		if err != nil {
			return nil, fmt.Errorf("shapes of %s: %w", c, err)
		}
		for i := range shapes {
			if c := chordOfShape(c, notes, &shapes[i]); inFirstOctave(in, c) {
				all = append(all, c)
			}
		}
	}
	return all, nil
}

func chordOfShape(c targets.Chord, notes []targets.Interval, shape *fretboard.Shape) Chord {
	out := Chord{Frets: append([]int(nil), shape.Frets...), Ratios: c.String(), Weight: 1}
	for i, t := range shape.Notes {
		out.Notes = append(out.Notes, Note{String: t.String, Fret: t.Fret, Wanted: notes[i]})
	}
	slices.SortFunc(out.Notes, func(a, b Note) int { return cmp.Compare(b.String, a.String) })
	return out
}

// inFirstOctave says whether no note is an octave or more above its open string.
func inFirstOctave(in *targets.Instrument, c Chord) bool {
	for _, n := range c.Notes {
		if fretCents(&in.Strings[n.String-1], n.Fret) >= 1200 {
			return false
		}
	}
	return true
}

// ReportAll reports on many chords, those first that lose most, and of those alike the ones
// nearest to the nut.
func (p *Plan) ReportAll(chords []Chord) []ChordReport {
	all := make([]ChordReport, len(chords))
	for i, c := range chords {
		all[i] = p.Report(c)
	}
	slices.SortStableFunc(all, func(a, b ChordReport) int {
		return cmp.Or(cmp.Compare(math.Round(1000*b.Loss()), math.Round(1000*a.Loss())), // alike but for rounding
			cmp.Compare(slices.Max(a.Chord.Frets), slices.Max(b.Chord.Frets)))
	})
	return all
}
