package command

import (
	"fmt"
	"strings"

	"tunerd/internal/beats"
	"tunerd/internal/display/text"
)

// beatList lists the coincidences of pairs; a pair without any has a line too.
func beatList(notes []note, pairs []beats.Pair) *text.Listing {
	l := &text.Listing{Type: "beat", Columns: []text.Column{
		{Name: "lower", Title: "lower"}, {Name: "lower_string", Title: "string"}, {Name: "lower_hz", Title: "Hz", Decimals: 3},
		{Name: "upper", Title: "upper"}, {Name: "upper_string", Title: "string"}, {Name: "upper_hz", Title: "Hz", Decimals: 3},
		{Name: "ratio", Title: "ratio"}, {Name: "lower_partial"}, {Name: "upper_partial"},
		{Name: "near_hz", Title: "near Hz", Decimals: 1},
		{Name: "beat_hz", Title: "beats/s", Decimals: 2, Signed: true}, {Name: "off_cents", Title: "cents", Decimals: 2, Signed: true},
		{Name: "side", Title: "interval"}, {Name: "turn", Title: "to stop the beats"},
	}}
	for _, p := range pairs {
		lower, upper := notes[p.I], notes[p.J]
		ends := []any{lower.Label, lower.place(), lower.Hz, upper.Label, upper.place(), upper.Hz}
		if len(p.Found) == 0 {
			l.Rows = append(l.Rows, append(ends, nil, nil, nil, nil, nil, nil, nil, nil))
		}
		for _, c := range p.Found {
			l.Rows = append(l.Rows, append(ends[:len(ends):len(ends)], fmt.Sprintf("%d/%d", c.N, c.M), c.N, c.M, c.Hz(),
				c.BeatHz(), c.Cents(), beats.Side(c.Cents()), beats.Turn(lower.Label, upper.Label, c.Cents())))
		}
	}
	return l
}

// tableAcross is the table of beat rates for a person: intervals across.
func tableAcross(rows []beats.Row, intervals [][2]int) *text.Listing {
	l := &text.Listing{Type: "row", Columns: []text.Column{{Name: "lower", Title: "note"}, {Name: "hz", Title: "Hz", Decimals: 3}}}
	for _, nm := range intervals {
		ratio := fmt.Sprintf("%d/%d", nm[0], nm[1])
		l.Columns = append(l.Columns, text.Column{Name: ratio, Title: ratio, Decimals: 2, Signed: true})
	}
	for _, row := range rows {
		cells := []any{row.Lower.Label, row.Lower.Hz}
		for _, c := range row.Cells {
			cells = append(cells, c.BeatHz())
		}
		l.Rows = append(l.Rows, cells)
	}
	return l
}

// tableLines is the same for programs: a line for each pair.
func tableLines(rows []beats.Row) *text.Listing {
	var notes []note
	var pairs []beats.Pair
	for _, row := range rows {
		low := len(notes)
		notes = append(notes, note{Tone: row.Lower})
		for _, c := range row.Cells {
			pairs = append(pairs, beats.Pair{I: low, J: len(notes), Found: []beats.Coincidence{c.Coincidence}})
			notes = append(notes, note{Tone: c.Upper})
		}
	}
	return beatList(notes, pairs)
}

// differenceList lists difference tones.
func differenceList(notes []note, found []beats.CombinationTone, slow float64) *text.Listing {
	l := &text.Listing{Type: "difference_tone", Columns: []text.Column{
		{Name: "tone", Title: "tone"}, {Name: "order", Title: "order"}, {Name: "hz", Title: "Hz", Decimals: 3},
		{Name: "harmonic", Title: "near harmonic"}, {Name: "off_cents", Title: "cents", Decimals: 1, Signed: true},
		{Name: "beat_hz", Title: "beats/s", Decimals: 2, Signed: true}, {Name: "verdict", Title: "verdict"},
	}}
	for _, c := range found {
		verdict := "clashes"
		if c.Fits(slow) {
			verdict = "fits"
		}
		l.Rows = append(l.Rows, []any{termWords(notes, c.Terms), c.Order, c.Hz, c.Harmonic, c.OffCents, c.OffHz, verdict})
	}
	return l
}

// termWords write a sum such as "2 A3 - C#4 p2", where p2 is partial 2.
func termWords(notes []note, terms []beats.Term) string {
	var b strings.Builder
	for i, t := range terms {
		switch {
		case t.Times < 0:
			b.WriteString(" - ")
		case i > 0:
			b.WriteString(" + ")
		}
		if times := max(t.Times, -t.Times); times > 1 {
			fmt.Fprintf(&b, "%d ", times)
		}
		b.WriteString(notes[t.Tone].Label)
		if t.Partial > 1 {
			fmt.Fprintf(&b, " p%d", t.Partial)
		}
	}
	return b.String()
}
