package fretboard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"tunerd/internal/targets"
)

// Limits of a chord search.
const (
	fingers       = 4         // of the hand that presses; the thumb stays behind the neck
	maxShapes     = 1_000_000 // a million are no help to a player, and fill memory
	maxChordNotes = 16
)

// A ChordQuery asks for shapes of a chord.
type ChordQuery struct {
	Notes       []targets.Interval // above the root; the first is the root, 1/1
	SpanMM      float64            // most between the outermost pressed frets, along the neck
	WithinCents float64            // most that any interval of the chord may be off
	String      int                // holds the root on one string; 0: any
	Fret        int                // holds the root at one fret; below 0: any
}

// A Shape is a way to play a chord: one note a string, each note of the chord once.
type Shape struct {
	Frets      []int            `json:"frets"`       // of every string in the board's order; -1 is not played
	Notes      []targets.Target `json:"-"`           // in the order of the chord
	Cents      []float64        `json:"cents"`       // of each note against its interval above the root
	WorstCents float64          `json:"worst_cents"` // the most that an interval between any two notes is off
	SpanMM     float64          `json:"span_mm"`     // between the outermost pressed frets, along the neck; 0 if one or none is pressed
	Fingers    int              `json:"fingers"`     // that press; a barre counts once
	Pairs      []ChordPair      `json:"-"`           // all intervals between two notes
	RootFrets  []int            `json:"root_frets"`  // all frets of the root at which this shape can be played, moved along the neck
}

// A ChordPair is the interval between two notes of a shape.
type ChordPair struct {
	Low      int              `json:"low"` // in the order of the chord
	High     int              `json:"high"`
	Interval targets.Interval `json:"-"`       // wanted
	Cents    float64          `json:"cents"`   // sounding against wanted
	BeatHz   float64          `json:"beat_hz"` // NaN if the ratio is not one of small numbers
}

// Shapes returns every playable shape of a chord, purest first: each note of the chord on a
// string of its own, every interval off by at most WithinCents, the pressed frets within SpanMM,
// and at most four fingers. It is complete: what is not returned breaks one of these.
//
// A shape that can be moved along the neck without a change of its intervals is one shape, shown
// at the lowest place; open strings that become pressed when it moves do not part it. Shapes are
// ranked by the worst interval (to 0.001 cents); of equally pure ones those go first that have
// more places, then those of less span, fewer fingers, lower frets.
func (b *Board) Shapes(ctx context.Context, q ChordQuery) ([]Shape, error) {
	s, err := b.newSearch(ctx, q)
	if err != nil {
		return nil, err
	}
	if err := s.run(); err != nil {
		return nil, err
	}
	shapes := s.merge()
	slices.SortFunc(shapes, compareShapes)
	return shapes, nil
}

// WorstBeatHz returns the fastest beat of any two notes, of those that are known; NaN if none is.
func (s *Shape) WorstBeatHz() float64 {
	worst := math.NaN()
	for _, p := range s.Pairs {
		if !(p.BeatHz <= worst) && !math.IsNaN(p.BeatHz) {
			worst = p.BeatHz
		}
	}
	return worst
}

// Purest returns how many cents the worst interval of the purest shape within the span is off. It
// looks up to 400 cents; beyond that nobody hears the chord.
func (b *Board) Purest(ctx context.Context, q ChordQuery) (cents float64, found bool, err error) {
	for q.WithinCents = 25; q.WithinCents <= 400; q.WithinCents *= 2 {
		shapes, err := b.Shapes(ctx, q)
		if err != nil {
			return 0, false, err
		}
		if len(shapes) > 0 {
			return shapes[0].WorstCents, true, nil
		}
	}
	return 0, false, nil
}

// A search walks the tree of choices: root, then string and fret of one note after another. A
// branch is left as soon as span or purity is lost, as neither comes back.
type search struct {
	b     *Board
	ctx   context.Context
	q     ChordQuery
	cents []float64   // of the chord's notes above the root
	pitch [][]float64 // of every string and fret, in cents above the first string open, rising
	along [][]float64 // of every string and fret along the neck; the open string is not pressed
	at    []spot      // chosen so far, a spot a note
	used  []bool      // strings
	found []spot      // shapes, one after another, len(cents) spots each
}

// A spot is a string and fret.
type spot struct{ str, fret int }

func (b *Board) newSearch(ctx context.Context, q ChordQuery) (*search, error) {
	switch {
	case len(q.Notes) < 2 || len(q.Notes) > maxChordNotes:
		return nil, fmt.Errorf("a chord of %d notes is not within 2 to %d", len(q.Notes), maxChordNotes)
	case len(q.Notes) > len(b.Strings):
		return nil, fmt.Errorf("a chord of %d notes needs as many strings; %s has %d", len(q.Notes), b.Name, len(b.Strings))
	case !(q.SpanMM >= 0):
		return nil, fmt.Errorf("span %g mm is below 0", q.SpanMM)
	case !(q.WithinCents >= 0):
		return nil, fmt.Errorf("%g cents are below 0", q.WithinCents)
	case q.String < 0 || q.String > len(b.Strings):
		return nil, fmt.Errorf("string %d: %s has strings 1 to %d", q.String, b.Name, len(b.Strings))
	}
	most := 0
	for i := range b.Strings {
		most = max(most, len(b.Strings[i].Frets))
	}
	if q.Fret > most {
		return nil, fmt.Errorf("fret %d: %s has frets 0 to %d", q.Fret, b.Name, most)
	}
	s := &search{b: b, ctx: ctx, q: q, at: make([]spot, len(q.Notes)), used: make([]bool, len(b.Strings))}
	for _, iv := range q.Notes {
		s.cents = append(s.cents, iv.Sub(q.Notes[0]).Cents())
	}
	for i := range b.Strings {
		str := &b.Strings[i]
		pitch, along := make([]float64, len(str.Frets)+1), make([]float64, len(str.Frets)+1)
		for fret := range pitch {
			pitch[fret] = 1200*math.Log2(str.Open.Hz/b.Strings[0].Open.Hz) + str.cents(fret)
			along[fret] = str.NutAlongMM + str.fromNut(fret)
		}
		s.pitch, s.along = append(s.pitch, pitch), append(s.along, along)
	}
	return s, nil
}

var errTooMany = errors.New("the chord has more than 1000000 shapes; allow a smaller span or fewer cents, or hold the root on a string")

// run tries all roots.
func (s *search) run() error {
	for str := range s.pitch {
		for fret := range s.pitch[str] {
			if s.q.String > 0 && str != s.q.String-1 || s.q.Fret >= 0 && fret != s.q.Fret {
				continue
			}
			if err := s.ctx.Err(); err != nil {
				return err
			}
			s.at[0] = spot{str, fret}
			s.used[str] = true
			err := s.place(1, s.reach(span{math.Inf(1), math.Inf(-1)}, str, fret), span{0, 0})
			s.used[str] = false
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// A span is a range; it is empty if lo is above hi.
type span struct{ lo, hi float64 }

func (a span) with(x float64) span { return span{min(a.lo, x), max(a.hi, x)} }

func (a span) size() float64 { return max(a.hi-a.lo, 0) }

// reach widens the span of pressed frets by one more.
func (s *search) reach(pressed span, str, fret int) span {
	if fret == 0 {
		return pressed
	}
	return pressed.with(s.along[str][fret])
}

// place chooses the spot of note i in all ways; off spans the errors of the notes before it, in
// cents against the root.
func (s *search) place(i int, pressed, off span) error {
	if i == len(s.cents) {
		return s.keep()
	}
	root := s.pitch[s.at[0].str][s.at[0].fret]
	wanted := root + s.cents[i]
	least, most := wanted+off.hi-s.q.WithinCents-alike, wanted+off.lo+s.q.WithinCents+alike
	for str, pitch := range s.pitch {
		if s.used[str] {
			continue
		}
		fret, _ := slices.BinarySearch(pitch, least)
		for ; fret < len(pitch) && pitch[fret] <= most; fret++ {
			reached := s.reach(pressed, str, fret)
			if reached.size() > s.q.SpanMM+alike {
				continue
			}
			s.at[i], s.used[str] = spot{str, fret}, true
			err := s.place(i+1, reached, off.with(pitch[fret]-wanted))
			s.used[str] = false
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *search) keep() error {
	if s.fingers(s.at) > fingers {
		return nil
	}
	if len(s.found) >= maxShapes*len(s.cents) {
		return errTooMany
	}
	s.found = append(s.found, s.at...)
	return nil
}

// fingers counts those that press the spots. A forefinger laid across stops all that lies at its
// fret, if no open string sounds between them.
func (s *search) fingers(at []spot) int {
	pressed, low := 0, spot{-1, 0}
	for _, p := range at {
		if p.fret > 0 {
			pressed++
			if low.str < 0 || s.along[p.str][p.fret] < s.along[low.str][low.fret] {
				low = p
			}
		}
	}
	if pressed == 0 {
		return 0
	}
	barred, first, last := 0, len(s.pitch), -1
	for _, p := range at {
		if p.fret == low.fret && math.Abs(s.b.Strings[p.str].cents(p.fret)-s.b.Strings[low.str].cents(low.fret)) <= alike {
			barred++
			first, last = min(first, p.str), max(last, p.str)
		}
	}
	for _, p := range at {
		if p.fret == 0 && p.str > first && p.str < last {
			return pressed
		}
	}
	return pressed - barred + 1
}

// merge joins what is one shape moved along the neck.
func (s *search) merge() []Shape {
	n := len(s.cents)
	all := make([][]spot, 0, len(s.found)/n)
	for i := 0; i < len(s.found); i += n {
		all = append(all, s.found[i:i+n])
	}
	slices.SortFunc(all, func(a, b []spot) int { return s.compareMoved(a, b, true) })
	var shapes []Shape
	for i, at := range all {
		if i > 0 && s.compareMoved(all[i-1], at, false) == 0 {
			last := &shapes[len(shapes)-1]
			last.RootFrets = append(last.RootFrets, at[0].fret)
			last.SpanMM, last.Fingers = max(last.SpanMM, s.span(at)), max(last.Fingers, s.fingers(at))
			continue
		}
		shapes = append(shapes, s.shape(at))
	}
	return shapes
}

// compareMoved orders shapes by strings, frets from the root's, and errors, which are alike for
// the same shape in another place, and at last by place.
func (s *search) compareMoved(a, b []spot, place bool) int {
	for i := range a {
		if c := cmp.Or(cmp.Compare(a[i].str, b[i].str), cmp.Compare(a[i].fret-a[0].fret, b[i].fret-b[0].fret)); c != 0 {
			return c
		}
	}
	for i := range a {
		if c := cmp.Compare(math.Round(s.off(a, i)/alike), math.Round(s.off(b, i)/alike)); c != 0 {
			return c
		}
	}
	if place {
		return cmp.Compare(a[0].fret, b[0].fret)
	}
	return 0
}

// off returns how far note i of a shape is from its interval above the root.
func (s *search) off(at []spot, i int) float64 {
	return s.pitch[at[i].str][at[i].fret] - s.pitch[at[0].str][at[0].fret] - s.cents[i]
}

// span returns the distance between the outermost pressed frets.
func (s *search) span(at []spot) float64 {
	pressed := span{math.Inf(1), math.Inf(-1)}
	for _, p := range at {
		pressed = s.reach(pressed, p.str, p.fret)
	}
	return pressed.size()
}

// shape tells all of the spots.
func (s *search) shape(at []spot) Shape {
	shape := Shape{Frets: make([]int, len(s.b.Strings)), SpanMM: s.span(at), Fingers: s.fingers(at), RootFrets: []int{at[0].fret}}
	for i := range shape.Frets {
		shape.Frets[i] = -1
	}
	off := span{0, 0}
	for i, p := range at {
		shape.Frets[p.str] = p.fret
		shape.Notes = append(shape.Notes, s.b.Strings[p.str].sounds(p.fret))
		shape.Cents = append(shape.Cents, s.off(at, i))
		off = off.with(s.off(at, i))
	}
	shape.WorstCents = off.size()
	for low := range at {
		for high := low + 1; high < len(at); high++ {
			iv := s.q.Notes[high].Sub(s.q.Notes[low])
			shape.Pairs = append(shape.Pairs, ChordPair{low, high, iv, shape.Cents[high] - shape.Cents[low],
				beat(iv, shape.Notes[low].Hz, shape.Notes[high].Hz)})
		}
	}
	return shape
}

func compareShapes(a, b Shape) int {
	return cmp.Or(
		cmp.Compare(math.Round(a.WorstCents*1000), math.Round(b.WorstCents*1000)),
		cmp.Compare(len(b.RootFrets), len(a.RootFrets)),
		cmp.Compare(math.Round(a.SpanMM*1000), math.Round(b.SpanMM*1000)),
		cmp.Compare(a.Fingers, b.Fingers),
		slices.Compare(a.Frets, b.Frets),
		slices.CompareFunc(a.Notes, b.Notes, func(x, y targets.Target) int { return cmp.Compare(x.String, y.String) }))
}
