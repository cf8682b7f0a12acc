package bench

import (
	"fmt"
	"math"

	"tunerd/internal/display/text"
	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
)

// Limits of a search for shapes: a hand is smaller, and an ear finer.
const (
	maxShapes = 1000
)

type instrumentEntry struct {
	ID          string `json:"id"`
	Name        string `json:"name"`
	Kind        string `json:"kind"`
	Strings     int    `json:"strings"`
	Tuning      string `json:"tuning"`
	Reference   string `json:"reference"`
	Description string `json:"description"`
}

func (b *Bench) getInstruments(*asked) (any, error) {
	entries := []instrumentEntry{}
	for _, in := range b.cfg.Catalog.instruments {
		entries = append(entries, instrumentEntry{
			in.name, in.Name, in.Kind, len(in.Strings), in.Tuning.Name(), in.Tuning.Reference().String(), in.Description,
		})
	}
	return struct {
		Instruments []instrumentEntry `json:"instruments"`
	}{entries}, nil
}

type board struct {
	ID            string         `json:"id"`
	Name          string         `json:"name"`
	Tuning        string         `json:"tuning"`
	Reference     referenceState `json:"reference"`
	LastMM        text.Number    `json:"last_mm"`
	SpreadAssumed bool           `json:"spread_assumed"`
	Strings       []boardString  `json:"strings"`
	Lines         []boardLine    `json:"lines"`
	Saddle        []boardLine    `json:"saddle"`
}

type boardString struct {
	String         int         `json:"string"`
	Label          string      `json:"label"`
	Hz             text.Number `json:"hz"`
	Step           int         `json:"step"`
	ScaleMM        text.Number `json:"scale_mm"`
	NutAlongMM     text.Number `json:"nut_along_mm"`
	NutAcrossMM    text.Number `json:"nut_across_mm"`
	SaddleAcrossMM text.Number `json:"saddle_across_mm"`
	AboveReference nearRatio   `json:"above_reference"`
	Frets          []boardFret `json:"frets"`
}

type boardFret struct {
	Fret           int         `json:"fret"`
	Label          string      `json:"label"`
	Hz             text.Number `json:"hz"`
	Step           int         `json:"step"`
	Cents          text.Number `json:"cents"`
	NutMM          text.Number `json:"nut_mm"`
	AlongMM        text.Number `json:"along_mm"`
	AcrossMM       text.Number `json:"across_mm"`
	AboveOpen      nearRatio   `json:"above_open"`
	AboveReference nearRatio   `json:"above_reference"`
}

// A nearRatio is an interval and the simple ratio nearest to it.
type nearRatio struct {
	Cents    text.Number `json:"cents"`
	Ratio    string      `json:"ratio"`
	OffCents text.Number `json:"off_cents"`
}

type boardLine struct {
	Fret   int          `json:"fret"`
	Points []boardPoint `json:"points"`
}

type boardPoint struct {
	AlongMM  text.Number `json:"along_mm"`
	AcrossMM text.Number `json:"across_mm"`
}

func (b *Bench) getBoard(r *asked) (any, error) {
	q := query{values: r.Query}
	tuned := q.tuned()
	limit := q.whole("limit", targets.DefaultOddLimit, 1, targets.MaxOddLimit)
	if err := q.end(); err != nil {
		return nil, err
	}
	in, err := b.instrument(r, tuned)
	if err != nil {
		return nil, err
	}
	made, err := newBoard(in, limit)
	if err != nil {
		return nil, err
	}
	made.ID = r.value("id")
	return made, nil
}

// A tunedAs says how an instrument is tuned: what is left empty is its own.
type tunedAs struct {
	tuning, reference string
	plan              []float64 // cents of every open string; empty: none
}

func (q *query) tuned() tunedAs {
	return tunedAs{q.text("tuning", ""), q.text("reference", ""), q.numbers("plan")}
}

// instrument returns the instrument that the path names, tuned so.
func (b *Bench) instrument(r *asked, as tunedAs) (*targets.Instrument, error) {
	if _, err := b.cfg.Catalog.Instrument(r.value("id")); err != nil {
		return nil, Refusal{statusNotFound, codeNotFound, err.Error()}
	}
	return b.cfg.Catalog.tunedAs(r.value("id"), as)
}

// tunedAs returns an instrument in a tuning, with the moves of a plan.
func (c *Catalog) tunedAs(name string, as tunedAs) (*targets.Instrument, error) {
	in, err := c.Tuned(name, as.tuning, as.reference)
	if err != nil || len(as.plan) == 0 {
		return in, err
	}
	if in, err = in.Detuned(as.plan); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return in, nil
}

func newBoard(in *targets.Instrument, limit int) (*board, error) {
	ref := in.Tuning.Reference()
	b := &board{
		Name: in.Name, Tuning: in.Tuning.Name(), Reference: referenceState{ref.Label, text.Number(ref.Hz)},
		LastMM: unplaced, Strings: []boardString{}, Lines: []boardLine{}, Saddle: []boardLine{},
	}
	note := namer{in: in, limit: limit}
	for i := range in.Strings {
		str, err := note.boardString(i)
		if err != nil {
			return nil, err
		}
		b.Strings = append(b.Strings, str)
	}
	if laid, err := fretboard.New(in, fretboard.Options{}); err == nil { // else it has no scale lengths
		b.place(laid)
	}
	return b, nil
}

// unplaced is what is not known where there is no scale length.
var unplaced = text.Number(math.NaN())

// A namer says what the notes of an instrument are.
type namer struct {
	in    *targets.Instrument
	limit int // odd limit of ratios
}

func (n *namer) boardString(i int) (boardString, error) {
	open := n.in.Strings[i].Open
	s := boardString{
		String: i + 1, Label: open.Label, Hz: text.Number(open.Hz), Step: open.Step,
		ScaleMM: unplaced, NutAlongMM: unplaced, NutAcrossMM: unplaced, SaddleAcrossMM: unplaced,
		AboveReference: n.aboveReference(open.Hz), Frets: []boardFret{},
	}
	for k, fret := range n.in.Strings[i].Frets {
		sounds, err := n.in.Fretted(i+1, k+1)
		if err != nil {
			return s, err
		}
		s.Frets = append(s.Frets, boardFret{
			Fret: k + 1, Label: sounds.Label, Hz: text.Number(sounds.Hz), Step: sounds.Step, Cents: text.Number(fret.Cents),
			NutMM: unplaced, AlongMM: unplaced, AcrossMM: unplaced,
			AboveOpen: n.near(fret.Cents), AboveReference: n.aboveReference(sounds.Hz),
		})
	}
	return s, nil
}

func (n *namer) aboveReference(hz float64) nearRatio {
	return n.near(targets.CentsBetween(n.in.Tuning.ReferenceNote().Hz, hz))
}

func (n *namer) near(cents float64) nearRatio {
	ratio, off := targets.NearestRatio(cents, n.limit)
	return nearRatio{text.Number(cents), ratio.String(), text.Number(off)}
}

// place adds where everything lies.
func (b *board) place(laid *fretboard.Board) {
	b.LastMM, b.SpreadAssumed = text.Number(laid.LastMM), laid.SpreadAssumed()
	for i := range laid.Strings {
		from, s := &laid.Strings[i], &b.Strings[i]
		s.ScaleMM, s.NutAlongMM = text.Number(from.ScaleMM), text.Number(from.NutAlongMM)
		s.NutAcrossMM, s.SaddleAcrossMM = text.Number(from.NutAcrossMM), text.Number(from.SaddleAcrossMM)
		for k := range from.Frets {
			f := &s.Frets[k]
			f.NutMM, f.AlongMM = text.Number(from.Frets[k].NutMM), text.Number(from.Frets[k].AlongMM)
			f.AcrossMM = text.Number(from.AcrossMM(from.Frets[k].NutMM))
		}
	}
	b.Lines, b.Saddle = boardLines(laid.Lines()), boardLines(laid.SaddleLines())
}

func boardLines(lines []fretboard.Line) []boardLine {
	out := make([]boardLine, len(lines))
	for i, l := range lines {
		out[i] = boardLine{l.Fret, make([]boardPoint, len(l.Points))}
		for k, p := range l.Points {
			out[i].Points[k] = boardPoint{text.Number(p.Along), text.Number(p.Across)}
		}
	}
	return out
}

type shapesAnswer struct {
	Chord  string  `json:"chord"`
	Total  int     `json:"total"`
	Shapes []shape `json:"shapes"`
}

type shape struct {
	Rank        int           `json:"rank"`
	Frets       []int         `json:"frets"`
	Notes       []string      `json:"notes"`
	Strings     []int         `json:"strings"`
	WorstCents  text.Number   `json:"worst_cents"`
	Cents       []text.Number `json:"cents"`
	WorstBeatHz text.Number   `json:"worst_beat_hz"`
	SpanMM      text.Number   `json:"span_mm"`
	Fingers     int           `json:"fingers"`
	RootFrets   []int         `json:"root_frets"`
	Pairs       []shapePair   `json:"pairs"`
}

type shapePair struct {
	fretboard.ChordPair
	Interval string `json:"interval"`
}

func (b *Bench) getShapes(r *asked) (any, error) {
	q := query{values: r.Query}
	tuned, chordText := q.tuned(), q.text("chord", "4:5:6:7")
	find := fretboard.ChordQuery{
		SpanMM: q.bounded("span_mm", 100, bounds.SpanMM), WithinCents: q.bounded("within_cents", 20, bounds.WithinCents),
		String: q.whole("string", 0, 0, math.MaxInt), Fret: q.whole("fret", -1, 0, math.MaxInt),
	}
	most := q.whole("most", 50, 1, maxShapes)
	if err := q.end(); err != nil {
		return nil, err
	}
	in, err := b.instrument(r, tuned)
	if err != nil {
		return nil, err
	}
	chord, err := targets.ParseChord(chordText)
	if err != nil {
		return nil, err
	}
	find.Notes = chord.Notes()
	laid, err := fretboard.New(in, fretboard.Options{})
	if err != nil {
		return nil, err
	}
	var found []fretboard.Shape
	err = b.alone(r, func() (err error) {
		found, err = laid.Shapes(r.ctx, find)
		return err
	})
	if err != nil {
		return nil, err
	}
	answer := shapesAnswer{Chord: chord.String(), Total: len(found), Shapes: []shape{}}
	for i := range found[:min(most, len(found))] {
		answer.Shapes = append(answer.Shapes, newShape(i+1, &found[i]))
	}
	return answer, nil
}

func newShape(rank int, from *fretboard.Shape) shape {
	s := shape{
		Rank: rank, Frets: from.Frets, Notes: []string{}, Strings: []int{}, Cents: []text.Number{}, Pairs: []shapePair{},
		WorstCents: text.Number(from.WorstCents), WorstBeatHz: text.Number(from.WorstBeatHz()),
		SpanMM: text.Number(from.SpanMM), Fingers: from.Fingers, RootFrets: from.RootFrets,
	}
	for i, n := range from.Notes {
		s.Notes, s.Strings = append(s.Notes, n.Label), append(s.Strings, n.String)
		s.Cents = append(s.Cents, text.Number(from.Cents[i]))
	}
	for _, p := range from.Pairs {
		s.Pairs = append(s.Pairs, shapePair{p, p.Interval.String()})
	}
	return s
}
