package command

import (
	"fmt"
	"strconv"
	"strings"

	"tunerd/internal/display"
	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
)

// fretList lists the frets of the strings; merged leaves out what differs between strings that
// are laid out alike.
func fretList(strings []fretboard.String, merged bool) *text.Listing {
	l := &text.Listing{Type: "fret", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "fret", Title: "fret"}, {Name: "label", Title: "note"},
		{Name: "hz", Title: "Hz", Decimals: 3}, {Name: "step"}, {Name: "cents", Title: "cents", Decimals: 2},
		{Name: "nut_mm", Title: "from nut mm", Decimals: 2}, {Name: "nut_in", Title: "in", Decimals: 4},
		{Name: "previous_mm", Title: "from previous mm", Decimals: 2}, {Name: "previous_in", Title: "in", Decimals: 4},
		{Name: "along_mm", Title: "along neck mm", Decimals: 2},
		{Name: "slot_error_cents", Title: "cents per 0.1 mm", Decimals: 2}, {Name: "mm_per_cent", Title: "mm per cent", Decimals: 3},
	}}
	for _, s := range strings {
		for _, f := range s.Frets {
			row := []any{f.String, f.Target.Fret, f.Label, f.Hz, f.Step, f.Cents, f.NutMM, fretboard.Inches(f.NutMM),
				f.PreviousMM, fretboard.Inches(f.PreviousMM), f.AlongMM, f.SlotCents, f.CentMM}
			if merged {
				row[0], row[2], row[3], row[10] = nil, nil, nil, nil
			}
			l.Rows = append(l.Rows, row)
		}
	}
	return l
}

func placeList(places []fretboard.Place) *text.Listing {
	l := &text.Listing{Type: "place", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "fret", Title: "nearest fret"}, {Name: "label", Title: "note"}, {Name: "hz", Title: "Hz", Decimals: 3},
		{Name: "cents", Title: "cents", Decimals: 2, Signed: true}, {Name: "exact", Title: "exact"},
		{Name: "beat_hz", Title: "beat Hz", Decimals: 2}, {Name: "exact_mm", Title: "exact place mm", Decimals: 2},
		{Name: "remark", Title: "remark"},
	}}
	for _, p := range places {
		if !p.Reached {
			l.Rows = append(l.Rows, []any{p.String, nil, nil, nil, nil, false, nil, p.ExactMM, p.Text})
			continue
		}
		l.Rows = append(l.Rows, []any{p.String, p.Nearest.Fret, p.Nearest.Label, p.Nearest.Hz, p.Cents, p.Exact, p.BeatHz, p.ExactMM, ""})
	}
	return l
}

func harmonicList(all []fretboard.Harmonic) *text.Listing {
	l := &text.Listing{Type: "harmonic", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "harmonic", Title: "harmonic"}, {Name: "node", Title: "node"},
		{Name: "touch_mm", Title: "touch mm", Decimals: 2}, {Name: "touch_in", Title: "in", Decimals: 3},
		{Name: "fret", Title: "nearest fret"}, {Name: "from_fret_mm", Title: "from it mm", Decimals: 2, Signed: true},
		{Name: "hz", Title: "Hz", Decimals: 3}, {Name: "cents_above_open"}, {Name: "label", Title: "nearest note"},
		{Name: "note_hz"}, {Name: "cents", Title: "cents", Decimals: 2, Signed: true},
	}}
	for _, h := range all {
		l.Rows = append(l.Rows, []any{h.String, h.Number, fmt.Sprintf("%d/%d", h.Node, h.Number), h.TouchMM, fretboard.Inches(h.TouchMM),
			h.Fret, h.FretMM, h.Hz, h.Cents, h.Note.Label, h.Note.Hz, h.OffCents})
	}
	return l
}

// A chordPairJSON is the interval between two notes of a shape.
type chordPairJSON struct {
	Low      int      `json:"low"`
	High     int      `json:"high"`
	Interval string   `json:"interval"`
	Cents    float64  `json:"cents"`
	BeatHz   *float64 `json:"beat_hz"`
}

// shapeList lists shapes with a fret for every string, the last string first, as it lies lowest.
func shapeList(b *fretboard.Board, chord targets.Chord, shapes []fretboard.Shape) *text.Listing {
	l := &text.Listing{Type: "shape", Columns: []text.Column{
		{Name: "rank", Title: "rank"}, {Name: "chord"},
		{Name: "frets_from_last", Title: fmt.Sprintf("strings %d to 1", len(b.Strings))},
		{Name: "frets"}, {Name: "notes", Title: "notes"}, {Name: "strings"},
		{Name: "worst_cents", Title: "worst cents", Decimals: 2}, {Name: "cents", Title: "cents of each", Decimals: 1, Signed: true},
		{Name: "worst_beat_hz", Title: "worst beat Hz", Decimals: 2},
		{Name: "span_mm", Title: "span mm", Decimals: 1}, {Name: "fingers", Title: "fingers"},
		{Name: "root_frets"}, {Name: "places", Title: "root at frets"}, {Name: "pairs"},
	}}
	for i, s := range shapes {
		var labels []string
		var strs []int
		for _, n := range s.Notes {
			labels, strs = append(labels, n.Label), append(strs, n.String)
		}
		pairs := make([]chordPairJSON, len(s.Pairs))
		for i, p := range s.Pairs {
			pairs[i] = chordPairJSON{Low: p.Low, High: p.High, Interval: p.Interval.String(), Cents: p.Cents}
			if p.BeatHz == p.BeatHz { // known: not NaN
				pairs[i].BeatHz = &p.BeatHz
			}
		}
		l.Rows = append(l.Rows, []any{i + 1, chord.String(), fretWords(s.Frets), s.Frets, strings.Join(labels, ", "), strs, s.WorstCents, s.Cents,
			s.WorstBeatHz(), s.SpanMM, s.Fingers, s.RootFrets, rangeWords(s.RootFrets), pairs})
	}
	return l
}

// fretWords writes the frets of a shape from the last string to the first, "-" where none is played.
func fretWords(frets []int) string {
	words := make([]string, 0, len(frets))
	for i := len(frets) - 1; i >= 0; i-- {
		word := "-"
		if frets[i] >= 0 {
			word = strconv.Itoa(frets[i])
		}
		words = append(words, fmt.Sprintf("%2s", word))
	}
	return strings.Join(words, " ")
}

// rangeWords writes rising numbers with runs as ranges: "3-12 14".
func rangeWords(numbers []int) string {
	var words []string
	for i := 0; i < len(numbers); i++ {
		from := i
		for i+1 < len(numbers) && numbers[i+1] == numbers[i]+1 {
			i++
		}
		word := strconv.Itoa(numbers[from])
		if i > from {
			word += "-" + strconv.Itoa(numbers[i])
		}
		words = append(words, word)
	}
	return strings.Join(words, " ")
}

func oneStringList(iv targets.Interval, all []fretboard.OneString) *text.Listing {
	l := &text.Listing{Type: "one_string", Columns: []text.Column{
		{Name: "interval"}, {Name: "string"}, {Name: "notes"}, {Name: "notes_with_it"}, {Name: "nearest_fret"}, {Name: "cents"}, {Name: "elsewhere"},
	}}
	type spot struct {
		String int `json:"string"`
		Fret   int `json:"fret"`
	}
	for _, s := range all {
		elsewhere := []spot{}
		for _, p := range s.Elsewhere {
			elsewhere = append(elsewhere, spot{p.String, p.Nearest.Fret})
		}
		l.Rows = append(l.Rows, []any{iv.String(), s.String, s.Starts, s.Hits, s.Fret, s.Cents, elsewhere})
	}
	return l
}

func intervalName(iv targets.Interval) string {
	if iv.String() == "2/1" {
		return "Octave (2/1)"
	}
	return iv.String()
}

// oneStringWords says in lines whether an interval lies on each string, in one line if they are all
// alike, and where else it does.
func oneStringWords(all []fretboard.OneString) []string {
	var lines []string
	alike := true
	for _, s := range all {
		lines = append(lines, fmt.Sprintf("string %d: %s", s.String, onStringWords(s)))
		alike = alike && onStringWords(s) == onStringWords(all[0])
	}
	if alike && len(all) > 1 {
		lines = []string{"every string: " + onStringWords(all[0])}
	}
	for _, s := range all {
		if len(s.Elsewhere) > 0 {
			lines = append(lines, fmt.Sprintf("above string %d open: exactly at %s", s.String, placeWords(s.Elsewhere)))
		}
	}
	return lines
}

func placeWords(places []fretboard.Place) string {
	words := make([]string, len(places))
	for i, p := range places {
		words[i] = fmt.Sprintf("string %d fret %d", p.String, p.Nearest.Fret)
	}
	return strings.Join(words, ", ")
}

func onStringWords(s fretboard.OneString) string {
	switch {
	case s.Starts == 0:
		return "does not reach it with its frets"
	case s.Hits == 1 && s.Starts == 1:
		return "exactly at a fret above its one note that has room for it"
	case s.Hits == s.Starts:
		return fmt.Sprintf("exactly at a fret above each of its %d notes that have room for it", s.Starts)
	}
	if s.Starts == 1 {
		return fmt.Sprintf("at no fret above its one note that has room for it; above the open string the nearest is fret %d, %s cents", s.Fret, display.Signed(s.Cents, 2))
	}
	count := "none"
	if s.Hits > 0 {
		count = strconv.Itoa(s.Hits)
	}
	return fmt.Sprintf("exactly at a fret above %s of its %d notes that have room for it; above the open string the nearest is fret %d, %s cents", count, s.Starts, s.Fret, display.Signed(s.Cents, 2))
}

// wherePanel marks the root, and on every string the nearest fret and the exact place.
func wherePanel(b *fretboard.Board, iv targets.Interval, str, fret int, places []fretboard.Place) figure.Panel {
	p := figure.Panel{Caption: fmt.Sprintf("%s above string %d fret %d. Dot: exact. Ring: nearest fret, cents off. Bar: exact place.", iv, str, fret)}
	p.Marks = append(p.Marks, figure.Mark{Spot: spotOf(b, str, fret), Label: "1/1", Kind: figure.DotMark})
	for _, place := range places {
		n := place.Nearest
		switch {
		case place.Reached && place.Exact:
			p.Marks = append(p.Marks, figure.Mark{Spot: spotOf(b, n.String, n.Fret), Label: iv.String(), Kind: figure.DotMark})
			continue
		case place.Reached:
			p.Marks = append(p.Marks, figure.Mark{Spot: spotOf(b, n.String, n.Fret), Label: display.Signed(place.Cents, 1), Kind: figure.RingMark})
		}
		if s := &b.Strings[place.String-1]; place.OnString(s) {
			p.Marks = append(p.Marks, figure.Mark{Spot: figure.Spot(s.At(place.ExactMM)), Kind: figure.TouchMark})
		}
	}
	return p
}

// spotOf returns where a string is pressed at a fret.
func spotOf(b *fretboard.Board, str, fret int) figure.Spot {
	return figure.Spot(b.Strings[str-1].AtFret(fret))
}

func harmonicsPanel(b *fretboard.Board, all []fretboard.Harmonic) figure.Panel {
	p := figure.Panel{Caption: "Natural harmonics: touch at the bars; the number is the harmonic."}
	for _, h := range all {
		s := &b.Strings[h.String-1]
		p.Marks = append(p.Marks, figure.Mark{Spot: figure.Spot(s.At(h.TouchMM)), Label: strconv.Itoa(h.Number), Kind: figure.TouchMark})
	}
	return p
}

func shapePanels(b *fretboard.Board, chord targets.Chord, shapes []fretboard.Shape) []figure.Panel {
	parts := strings.Split(chord.String(), ":")
	var panels []figure.Panel
	for i, s := range shapes {
		p := figure.Panel{Caption: fmt.Sprintf("%d. %s: worst interval %.2f cents off, span %.1f mm, root at frets %s", i+1, chord, s.WorstCents, s.SpanMM, rangeWords(s.RootFrets))}
		for i, n := range s.Notes {
			kind := figure.DotMark
			if n.Fret == 0 {
				kind = figure.RingMark
			}
			p.Marks = append(p.Marks, figure.Mark{Spot: spotOf(b, n.String, n.Fret), Label: parts[i], Kind: kind})
		}
		for str, fret := range s.Frets {
			if fret < 0 {
				p.Marks = append(p.Marks, figure.Mark{Spot: spotOf(b, str+1, 0), Kind: figure.SilentMark})
			}
		}
		panels = append(panels, p)
	}
	return panels
}
