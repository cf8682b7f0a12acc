package targets

import (
	"math"
	"slices"
)

// A cost is what a choice of notes costs: by the objective, then by the other figure.
type cost struct{ first, second float64 }

// less allows for rounding, so that equal choices do not depend on it.
func (a cost) less(b cost) bool {
	const hair = 1e-9 // cents
	if math.Abs(a.first-b.first) > hair {
		return a.first < b.first
	}
	return a.second < b.second-hair
}

// A chordSearch finds the notes of a tuning that approximate a chord best above one root. For
// note i of the chord the candidates are steps from the root, each with its error in cents.
//
// The error of a pair is the difference of the errors of its notes, the root having none. So the
// worst pair is the spread between the largest and the smallest error, and in the best choice
// every note is either the candidate next below or next above its pure place: whatever spread
// holds one further off holds the nearer one too.
type chordSearch struct {
	chord Chord
	below []float64 // error of the candidate at or below each note, ≤ 0
	above []float64 // error of the one above, > 0
	steps []int     // of the one below, from the root

	t     *Tuning // for candidates further off
	root  int
	err   []float64 // of the choice being built
	pick  []int
	best  []int
	order []int // notes by below, largest first

	spreadLimit float64 // that place keeps to
}

func newChordSearch(c Chord) *chordSearch {
	n := len(c.parts)
	return &chordSearch{chord: c, below: make([]float64, n), above: make([]float64, n), steps: make([]int, n),
		err: make([]float64, n), pick: make([]int, n), best: make([]int, n), order: make([]int, n)}
}

// load sets the root.
func (s *chordSearch) load(t *Tuning, root int) {
	s.t, s.root = t, root
	at := t.stepCents(root)
	for i, c := range s.chord.cents {
		low, high := t.around(at + c)
		s.steps[i] = low - root
		s.below[i] = min(t.stepCents(low)-at-c, 0)
		s.above[i] = t.stepCents(high) - at - c
	}
	s.steps[0], s.below[0] = 0, 0
}

// loadEqual sets equal steps of so many cents instead of a tuning.
func (s *chordSearch) loadEqual(step float64) {
	s.t = nil
	for i, c := range s.chord.cents {
		k := math.Floor(c / step)
		s.steps[i] = int(k)
		s.below[i] = min(k*step-c, 0)
		s.above[i] = s.below[i] + step
	}
	s.steps[0], s.below[0] = 0, 0
}

// search returns the cost of the best choice and leaves its steps in s.best.
func (s *chordSearch) search(by Objective) cost {
	best := s.smallestSpread()
	switch {
	case by == ByWeighted:
		s.spreadLimit = math.Inf(1)
		return s.smallestSum(best.second)
	case s.t != nil && s.t.division == 0:
		// Close notes may leave a choice within the same spread. Equal steps do not: the spread
		// is less than a step, and every choice of that kind has been tried.
		s.spreadLimit = best.first + 1e-9
		c := s.smallestSum(best.second)
		return cost{c.second, c.first}
	}
	return best
}

// smallestSpread finds the choice with the smallest worst pair. Taking the candidate below for
// all notes whose error there is not less than some bound, and the one above for the others,
// gives for each bound the smallest possible largest error; so one pass over the bounds is exact.
func (s *chordSearch) smallestSpread() cost {
	for i := range s.order {
		s.order[i] = i
	}
	slices.SortFunc(s.order[1:], func(i, j int) int {
		if s.below[i] > s.below[j] {
			return -1
		}
		return 1
	})
	best := cost{math.Inf(1), math.Inf(1)}
	for taken := 1; taken <= len(s.order); taken++ { // the first so many of order are below
		for place, i := range s.order {
			s.err[i], s.pick[i] = s.below[i], s.steps[i]
			if place >= taken {
				s.err[i], s.pick[i] = s.above[i], s.steps[i]+1
			}
		}
		if c := (cost{s.spread(), s.weighted()}); c.less(best) {
			best = c
			copy(s.best, s.pick)
		}
	}
	return best
}

func (s *chordSearch) spread() float64 { return s.spreadOf(len(s.err) - 1) }

// spreadOf returns the spread of the notes up to number i.
func (s *chordSearch) spreadOf(i int) float64 {
	return slices.Max(s.err[:i+1]) - slices.Min(s.err[:i+1])
}

func (s *chordSearch) weighted() float64 {
	var sum meanSquare
	for _, p := range s.chord.pairs {
		sum.add(p.weight, s.err[p.high]-s.err[p.low])
	}
	return sum.root()
}

// smallestSum finds the choice with the smallest weighted error, given that of s.best. It places
// one note after the other at every candidate whose pairs with the notes placed so far do not
// already cost more than the best complete choice: branch and bound, nothing is left out.
func (s *chordSearch) smallestSum(weighted float64) cost {
	weights := 0.0
	for _, p := range s.chord.pairs {
		weights += p.weight
	}
	const hair = 1e-12
	limit := weighted*weighted*weights + hair
	s.err[0], s.pick[0] = 0, 0
	s.place(1, 0, &limit)
	for i, step := range s.best {
		s.err[i] = s.errorOf(i, step)
	}
	return cost{s.weighted(), s.spread()}
}

// place tries the candidates of note i outwards from its pure place, given the cost so far.
func (s *chordSearch) place(i int, so float64, limit *float64) {
	if i == len(s.err) {
		if so < *limit {
			*limit = so
			copy(s.best, s.pick)
		}
		return
	}
	for _, direction := range [2]int{-1, 1} {
		step := s.steps[i]
		if direction > 0 {
			step++
		}
		for ; ; step += direction {
			s.pick[i], s.err[i] = step, s.errorOf(i, step)
			if s.rootCost(i) > *limit || math.Abs(s.err[i]) > s.spreadLimit {
				break // further off costs only more
			}
			if c := so + s.costOf(i); c < *limit && s.spreadOf(i) <= s.spreadLimit {
				s.place(i+1, c, limit)
			}
		}
	}
}

func (s *chordSearch) errorOf(i, step int) float64 {
	if s.t == nil {
		return s.below[i] + float64(step-s.steps[i])*(s.above[i]-s.below[i])
	}
	return s.t.stepCents(s.root+step) - s.t.stepCents(s.root) - s.chord.cents[i]
}

// costOf returns the cost of note i's pairs with all notes before it.
func (s *chordSearch) costOf(i int) float64 {
	sum := 0.0
	for _, p := range s.chord.pairs {
		if p.high == i {
			d := s.err[i] - s.err[p.low]
			sum += p.weight * d * d
		}
	}
	return sum
}

// rootCost returns the cost of note i's pair with the root alone.
func (s *chordSearch) rootCost(i int) float64 {
	for _, p := range s.chord.pairs {
		if p.low == 0 && p.high == i {
			return p.weight * s.err[i] * s.err[i]
		}
	}
	return 0
}
