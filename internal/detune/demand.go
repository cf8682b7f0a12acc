package detune

import (
	"fmt"
	"math"

	"tunerd/internal/beats"
	"tunerd/internal/stiffstring"
	"tunerd/internal/targets"
)

// topPartial is the highest partial that is looked at: those above are weak on a plucked string.
const topPartial = 16

// A demand is a chord in the form that is solved: note i is base_i + x of its string − t off, in
// cents, with a root t that is free.
type demand struct {
	chord  *Chord
	weight float64
	notes  []demandNote
}

type demandNote struct {
	str  int // from 0
	base float64
}

// demands returns chords as they stand while the strings are moved by x, on which the stiffness
// depends a little.
func (p *Problem) demands(chords []Chord, x []float64) ([]demand, error) {
	all := make([]demand, len(chords))
	for j := range chords {
		c := &chords[j]
		shift := make([]float64, len(c.Notes))
		if p.PureBy == ByPartials {
			var err error
			if shift, err = p.stretch(c, x); err != nil {
				return nil, err
			}
		}
		d := demand{chord: c, weight: c.Weight}
		for i, cents := range c.cents(p.Instrument) {
			d.notes = append(d.notes, demandNote{c.Notes[i].String - 1, cents - c.Notes[i].Wanted.Cents() - shift[i]})
		}
		root := d.notes[0].base // any root will do; one nearby keeps the figures small and their sums exact
		for i := range d.notes {
			d.notes[i].base -= root
		}
		all[j] = d
	}
	return all, nil
}

// stretch returns by how many cents partial 1 of each note of a chord must lie above its ratio, so
// that the coincident partials meet. In a chord of n notes n−1 pairs can be made to meet: those
// with the loudest coincidence that connect all notes.
func (p *Problem) stretch(c *Chord, x []float64) ([]float64, error) {
	b := make([]float64, len(c.Notes))
	for i, n := range c.Notes {
		s := n.String - 1
		b[i] = p.noteB(n, p.Instrument.Strings[s].Open.Hz*math.Exp2(x[s]/1200))
		if math.IsNaN(b[i]) {
			return nil, fmt.Errorf("pure by partials needs the inharmonicity of string %d: measure it, or give inharmonicity, or gauge and core, in the instrument's file", n.String)
		}
	}
	shift := make([]float64, len(c.Notes))
	joined := make([]bool, len(c.Notes))
	joined[0] = true
	for range len(c.Notes) - 1 {
		from, to, meet := c.loudest(joined)
		joined[to] = true
		shift[to] = shift[from] + stiffstring.StretchCents(b[from], float64(meet.n)) - stiffstring.StretchCents(b[to], float64(meet.m))
	}
	return shift, nil
}

// loudest returns the pair of a note that has been joined and one that has not whose coincident
// partials are the loudest; the first of several. Pairs without a ratio of small numbers come last,
// and meet in partials 1.
func (c *Chord) loudest(joined []bool) (from, to int, meet meeting) {
	best := 0.0
	for i := range joined {
		for k := range joined {
			if !joined[i] || joined[k] {
				continue
			}
			m, ok := meetingOf(c.Notes[i].Wanted, c.Notes[k].Wanted)
			loud := 1e-9
			if ok {
				loud = 1 / math.Sqrt(float64(m.n)*float64(m.m))
			} else {
				m = meeting{1, 1}
			}
			if loud > best {
				best, from, to, meet = loud, i, k, m
			}
		}
	}
	return from, to, meet
}

// noteB returns the inharmonicity of a note whose open string is at openHz.
func (p *Problem) noteB(n Note, openHz float64) float64 {
	s := n.String - 1
	return beats.Fretted(p.b(s, openHz), fretCents(&p.Instrument.Strings[s], n.Fret))
}

// A meeting is the lowest pair of partials at which two notes coincide: n of the first and m of the
// second, where the second should be n/m of the first.
type meeting struct{ n, m int }

// meetingOf returns the meeting of two notes, and false if it lies above topPartial or the interval
// is no ratio.
func meetingOf(a, b targets.Interval) (meeting, bool) {
	r, ok := b.Sub(a).Rat()
	if !ok || !r.Num().IsInt64() || !r.Denom().IsInt64() {
		return meeting{}, false
	}
	n, m := r.Num().Int64(), r.Denom().Int64()
	if n > topPartial || m > topPartial {
		return meeting{}, false
	}
	return meeting{int(n), int(m)}, true
}
