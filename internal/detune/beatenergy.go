package detune

import (
	"math"
	"slices"

	"tunerd/internal/beats"
)

// manyStrings is up to how many strings that may move all sets of them are tried; above it single
// ones, pairs, and all but these.
const manyStrings = 6

// beatEnergy looks for the least
//
//	Σ_j w_j Σ_pairs Σ_q beatCost(q·n·f_a, q·m·f_b, 1/(q·max(n, m)))
//
// over the coincident partials of all pairs of notes up to partial 16, with the amplitudes of a
// plucked string, 1/k. Slow beats cost in proportion to their rate, so the minimum, unlike that of
// least squares, makes some pairs quite pure and leaves others. It is a local one: no set of
// strings can be moved together, to where a pair meets or to a limit, and make it less. The search
// starts at the least-squares plan, at the least worst error, and at no move.
func (p *Problem) beatEnergy(s *system) ([]float64, error) {
	squares, err := s.leastSquares()
	if err != nil {
		return nil, err
	}
	worst, err := s.worstError()
	if err != nil {
		return nil, err
	}
	search := p.newBeatSearch(s)
	best, least := []float64(nil), math.Inf(1)
	for _, start := range [][]float64{squares, worst, make([]float64, len(s.bounds))} {
		x := append([]float64(nil), start...)
		if cost := search.descend(x); cost < least-1e-12 {
			best, least = x, cost
		}
	}
	return best, nil
}

// A beatSearch holds what is the same at every place of the search.
type beatSearch struct {
	s     *system
	pairs []beatPair
	sets  []uint64 // sets of strings to move together, by their place in s.strings
	tries []float64
}

// A beatPair is two notes of a chord and how they meet.
type beatPair struct {
	weight     float64
	a, b       int        // strings, from 0
	fa, fb     float64    // unmoved
	difference float64    // move of b minus that of a at which they meet, in cents
	ma, mb     uint64     // the strings as sets
	terms      []beatTerm // their coincident partials
}

// A beatTerm is one pair of coincident partials.
type beatTerm struct{ ka, kb, amplitude float64 } // frequencies over partial 1 of each note

func (p *Problem) newBeatSearch(s *system) *beatSearch {
	search := &beatSearch{s: s, sets: movableSets(len(s.strings))}
	for _, d := range s.demands {
		for i := range d.notes {
			for k := i + 1; k < len(d.notes); k++ {
				pair := p.beatPair(d.chord, i, k)
				pair.weight = d.weight / s.scale
				pair.difference = d.notes[i].base - d.notes[k].base
				pair.ma, pair.mb = s.set(pair.a), s.set(pair.b)
				if len(pair.terms) > 0 && pair.ma != pair.mb {
					search.pairs = append(search.pairs, pair)
				}
			}
		}
	}
	return search
}

// set returns the set of one string, empty if it stays.
func (s *system) set(str int) uint64 {
	if s.column[str] < 0 {
		return 0
	}
	return 1 << s.column[str]
}

func (p *Problem) beatPair(c *Chord, i, k int) beatPair {
	a, b := c.Notes[i], c.Notes[k]
	pair := beatPair{a: a.String - 1, b: b.String - 1, fa: noteHz(p.Instrument, a), fb: noteHz(p.Instrument, b)}
	meet, ok := meetingOf(a.Wanted, b.Wanted)
	if !ok {
		return pair
	}
	low, high := beats.Tone{Hz: 1}, beats.Tone{Hz: 1}
	if p.PureBy == ByPartials {
		low.B, high.B = p.stiffness(a), p.stiffness(b)
	}
	for q := 1; q*max(meet.n, meet.m) <= topPartial; q++ {
		pair.terms = append(pair.terms, beatTerm{low.Partial(q * meet.n), high.Partial(q * meet.m), 1 / float64(q*max(meet.n, meet.m))})
	}
	return pair
}

// stiffness returns the inharmonicity of a note on the unmoved string.
func (p *Problem) stiffness(n Note) float64 {
	return p.noteB(n, p.Instrument.Strings[n.String-1].Open.Hz)
}

// movableSets lists the sets of n strings that are tried.
func movableSets(n int) []uint64 {
	var sets []uint64
	if n <= manyStrings {
		for set := uint64(1); set < 1<<n; set++ {
			sets = append(sets, set)
		}
		return sets
	}
	all := uint64(1)<<n - 1 // n = 64 gives all ones as well
	for i := range n {
		for k := i; k < n; k++ {
			set := uint64(1)<<i | uint64(1)<<k
			sets = append(sets, set, all&^set)
		}
	}
	return append(sets, all)
}

// descend moves x downhill until nothing helps, and returns its cost.
func (b *beatSearch) descend(x []float64) float64 {
	for range 1000 {
		moved := false
		for _, set := range b.sets {
			by, gain := b.bestMove(x, set)
			if gain > 1e-12 {
				b.move(x, set, by)
				moved = true
			}
		}
		if !moved {
			break
		}
	}
	cost := 0.0
	for i := range b.pairs {
		cost += b.pairs[i].cost(x[b.pairs[i].a], x[b.pairs[i].b])
	}
	return cost
}

func (b *beatSearch) move(x []float64, set uint64, by float64) {
	for k, i := range b.s.strings {
		if set>>k&1 == 1 {
			x[i] = min(max(x[i]+by, b.s.bounds[i].lo), b.s.bounds[i].hi)
		}
	}
}

// bestMove tries all moves of a set of strings at which a pair with one string inside and one
// outside meets, and those to the nearest limit, and returns the one that lowers the cost most.
func (b *beatSearch) bestMove(x []float64, set uint64) (by, gain float64) {
	lo, hi := math.Inf(-1), math.Inf(1)
	for k, i := range b.s.strings {
		if set>>k&1 == 1 {
			lo, hi = max(lo, b.s.bounds[i].lo-x[i]), min(hi, b.s.bounds[i].hi-x[i])
		}
	}
	b.tries = append(b.tries[:0], lo, hi)
	for i := range b.pairs {
		p := &b.pairs[i]
		d := p.difference - (x[p.b] - x[p.a])
		switch inA, inB := set&p.ma != 0, set&p.mb != 0; {
		case inA == inB:
		case inA:
			b.tries = append(b.tries, -d)
		default:
			b.tries = append(b.tries, d)
		}
	}
	slices.Sort(b.tries)
	now, last := b.crossing(x, set, 0, math.Inf(1)), math.Inf(-1)
	for _, d := range b.tries {
		if d < lo || d > hi || math.Abs(d) < sameMove || d-last < sameMove {
			continue
		}
		last = d
		if g := now - b.crossing(x, set, d, now-gain); g > gain {
			by, gain = d, g
		}
	}
	return by, gain
}

// sameMove is how little two moves differ, in cents, to be one.
const sameMove = 1e-7

// crossing returns the cost of the pairs with one string in the set, when the set is moved by d.
// The others keep their intervals, and their cost but for the few cents by which both notes move.
// It stops adding up at most.
func (b *beatSearch) crossing(x []float64, set uint64, d, most float64) float64 {
	sum := 0.0
	for i := 0; i < len(b.pairs) && sum < most; i++ {
		p := &b.pairs[i]
		switch inA, inB := set&p.ma != 0, set&p.mb != 0; {
		case inA == inB:
		case inA:
			sum += p.cost(x[p.a]+d, x[p.b])
		default:
			sum += p.cost(x[p.a], x[p.b]+d)
		}
	}
	return sum
}

// cost returns the cost of a pair with its strings moved by xa and xb cents.
func (p *beatPair) cost(xa, xb float64) float64 {
	fa, fb := p.fa*math.Exp2(xa/1200), p.fb*math.Exp2(xb/1200)
	sum := 0.0
	for _, t := range p.terms {
		sum += beatCost(fa*t.ka, fb*t.kb, t.amplitude)
	}
	return p.weight * sum
}
