package bench

import (
	"fmt"
	"math"

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
	ID            string            `json:"id"`
	Name          string            `json:"name"`
	Tuning        string            `json:"tuning"`
	Reference     targets.Reference `json:"reference"`
	FretsOff      float64           `json:"frets_off_cents"` // the most that a fret is off the tuning; null without frets
	LastMM        float64           `json:"last_mm"`
	SpreadAssumed bool              `json:"spread_assumed"`
	Strings       []boardString     `json:"strings"`
	Lines         []fretboard.Line  `json:"lines"`
	Saddle        []fretboard.Line  `json:"saddle"`
}

type boardString struct {
	String int     `json:"string"`
	Label  string  `json:"label"`
	Hz     float64 `json:"hz"`
	Step   int     `json:"step"`
	fretboard.Ends
	AboveReference nearRatio   `json:"above_reference"`
	Frets          []boardFret `json:"frets"`
}

type boardFret struct {
	Fret           int       `json:"fret"`
	Label          string    `json:"label"`
	Hz             float64   `json:"hz"`
	Step           int       `json:"step"`
	Cents          float64   `json:"cents"`
	NutMM          float64   `json:"nut_mm"`
	AlongMM        float64   `json:"along_mm"`
	AcrossMM       float64   `json:"across_mm"`
	AboveOpen      nearRatio `json:"above_open"`
	AboveReference nearRatio `json:"above_reference"`
}

// A nearRatio is an interval and the simple ratio nearest to it.
type nearRatio struct {
	Cents    float64 `json:"cents"`
	Ratio    string  `json:"ratio"`
	OffCents float64 `json:"off_cents"`
}

func (b *Bench) getBoard(r *asked) (any, error) {
	q := query{values: r.Query}
	tuned := q.tunedBoard()
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
	refret            bool      // the frets are laid anew in the tuning, and are not those that the instrument has
}

func (q *query) tunedBoard() tunedAs {
	return tunedAs{q.text("tuning", ""), q.text("reference", ""), q.numbers("plan"), q.truth("refret")}
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
	if err == nil && as.refret {
		in, err = in.Refretted()
	}
	if err != nil || len(as.plan) == 0 {
		return in, err
	}
	if in, err = in.Detuned(as.plan); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return in, nil
}

func newBoard(in *targets.Instrument, limit int) (*board, error) {
	b := &board{
		Name: in.Name, Tuning: in.Tuning.Name(), Reference: in.Tuning.Reference(),
		FretsOff: in.FretsOff(), LastMM: math.NaN(), Strings: []boardString{}, Lines: []fretboard.Line{}, Saddle: []fretboard.Line{},
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

// unplaced are the ends of a string whose scale length is not known.
var unplaced = fretboard.Ends{ScaleMM: math.NaN(), NutAlongMM: math.NaN(), NutAcrossMM: math.NaN(), SaddleAcrossMM: math.NaN()}

// A namer says what the notes of an instrument are.
type namer struct {
	in    *targets.Instrument
	limit int // odd limit of ratios
}

func (n *namer) boardString(i int) (boardString, error) {
	open := n.in.Strings[i].Open
	s := boardString{
		String: i + 1, Label: open.Label, Hz: open.Hz, Step: open.Step,
		Ends: unplaced, AboveReference: n.aboveReference(open.Hz), Frets: []boardFret{},
	}
	for k, fret := range n.in.Strings[i].Frets {
		sounds, err := n.in.Fretted(i+1, k+1)
		if err != nil {
			return s, err
		}
		s.Frets = append(s.Frets, boardFret{
			Fret: k + 1, Label: sounds.Label, Hz: sounds.Hz, Step: sounds.Step, Cents: fret.Cents,
			NutMM: math.NaN(), AlongMM: math.NaN(), AcrossMM: math.NaN(),
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
	return nearRatio{cents, ratio.String(), off}
}

// place adds where everything lies.
func (b *board) place(laid *fretboard.Board) {
	b.LastMM, b.SpreadAssumed = laid.LastMM, laid.SpreadAssumed()
	for i := range laid.Strings {
		from, s := &laid.Strings[i], &b.Strings[i]
		s.Ends = from.Ends
		for k := range from.Frets {
			f := &s.Frets[k]
			f.NutMM, f.AlongMM = from.Frets[k].NutMM, from.Frets[k].AlongMM
			f.AcrossMM = from.AcrossMM(from.Frets[k].NutMM)
		}
	}
	b.Lines, b.Saddle = append(b.Lines, laid.Lines()...), append(b.Saddle, laid.SaddleLines()...)
}

type shapesAnswer struct {
	Chord  string  `json:"chord"`
	Total  int     `json:"total"`
	Shapes []shape `json:"shapes"`
}

type shape struct {
	Rank int `json:"rank"`
	*fretboard.Shape
	Notes       []string    `json:"notes"`
	Strings     []int       `json:"strings"`
	WorstBeatHz float64     `json:"worst_beat_hz"`
	Pairs       []shapePair `json:"pairs"`
}

type shapePair struct {
	fretboard.ChordPair
	Interval string `json:"interval"`
}

func (b *Bench) getShapes(r *asked) (any, error) {
	q := query{values: r.Query}
	tuned, chordText := q.tunedBoard(), q.text("chord", "4:5:6:7")
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
	s := shape{Rank: rank, Shape: from, Notes: []string{}, Strings: []int{}, WorstBeatHz: from.WorstBeatHz(), Pairs: []shapePair{}}
	for _, n := range from.Notes {
		s.Notes, s.Strings = append(s.Notes, n.Label), append(s.Strings, n.String)
	}
	for _, p := range from.Pairs {
		s.Pairs = append(s.Pairs, shapePair{p, p.Interval.String()})
	}
	return s
}
