package targets

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// A DivisionRank says how well one equal division approximates the chords asked for.
type DivisionRank struct {
	Division      int     `json:"division"`
	StepCents     float64 `json:"step_cents"`
	Steps         [][]int `json:"steps"`          // of each note of each chord, from the root
	WorstCents    float64 `json:"worst_cents"`    // largest error of a pair, over all chords
	WeightedCents float64 `json:"weighted_cents"` // as in TuningFit
	RelativeWorst float64 `json:"worst_steps"`    // WorstCents over StepCents
	Consistent    bool    `json:"consistent"`     // every pair is the best approximation of its own interval
	OddLimit      int     `json:"-"`              // of ConsistentLimit; 0 if the divided interval is not the octave
	Record        bool    `json:"record"`         // better than every smaller division of the range, by what is ranked
}

// MaxDivisions is the most steps of a division that ParseDivisions takes.
const MaxDivisions = maxSteps

// ParseDivisions reads a range of divisions like 5..99, or one like 41.
func ParseDivisions(text string) (from, to int, err error) {
	low, high, ok := strings.Cut(strings.TrimSpace(text), "..")
	if !ok {
		high = low
	}
	from, errFrom := parseCount(low, maxSteps)
	to, errTo := parseCount(high, maxSteps)
	if errFrom != nil || errTo != nil || from > to {
		return 0, 0, fmt.Errorf("divisions %s: write a range from 1 to %d, like 5..99", quote(text), maxSteps)
	}
	return from, to, nil
}

// RankDivisions fits the chords, which ParseChords has read, in every equal division of period
// from one count to another and sorts the divisions, the best first; of equals the smaller.
func RankDivisions(from, to int, period Interval, chords []Chord, by Objective) ([]DivisionRank, error) {
	size := period.Cents()
	if from < 1 || to < from || to > maxSteps {
		return nil, fmt.Errorf("divisions %d..%d are not within 1 to %d", from, to, maxSteps)
	}
	if !(size >= 1) || size > maxIntervalCents {
		return nil, fmt.Errorf("%s cannot be divided; write an interval above 1/1, like 2/1 or 3/1", quote(period.String()))
	}
	searches := make([]*chordSearch, len(chords))
	for i, c := range chords {
		searches[i] = newChordSearch(c)
	}
	ranks := make([]DivisionRank, 0, to-from+1)
	best := math.Inf(1)
	for n := from; n <= to; n++ {
		r := rankDivision(n, size, searches, by)
		if period.Equal(octave) {
			r.OddLimit = ConsistentLimit(n)
		}
		if f := r.figure(by); f < best-1e-9 {
			best, r.Record = f, true
		}
		ranks = append(ranks, r)
	}
	slices.SortStableFunc(ranks, func(a, b DivisionRank) int { return cmp.Compare(a.figure(by), b.figure(by)) })
	return ranks, nil
}

// ByDivision returns the ranks sorted by division.
func ByDivision(ranks []DivisionRank) []DivisionRank {
	return slices.SortedFunc(slices.Values(ranks), func(a, b DivisionRank) int { return cmp.Compare(a.Division, b.Division) })
}

func (r *DivisionRank) figure(by Objective) float64 {
	return by.of(r.WorstCents, r.WeightedCents, r.RelativeWorst)
}

func rankDivision(n int, period float64, searches []*chordSearch, by Objective) DivisionRank {
	r := DivisionRank{Division: n, StepCents: period / float64(n), Consistent: true}
	var total meanSquare
	for _, s := range searches {
		s.loadEqual(r.StepCents)
		s.search(by)
		r.Steps = append(r.Steps, slices.Clone(s.best))
		for _, p := range s.chord.pairs {
			steps := s.best[p.high] - s.best[p.low]
			off := float64(steps)*r.StepCents - p.cents
			total.add(p.weight, off)
			r.WorstCents = max(r.WorstCents, math.Abs(off))
			r.Consistent = r.Consistent && math.Abs(off) <= r.StepCents/2+1e-9
		}
	}
	r.WeightedCents = total.root()
	r.RelativeWorst = r.WorstCents / r.StepCents
	return r
}

// mostOddLimit bounds ConsistentLimit, so that huge divisions cost no more.
const mostOddLimit = 99

// ConsistentLimit returns the largest odd q, at most 99, for which the division of the octave
// into n equal steps maps the ratios of the odd limit q consistently: for all odd a, b, c up to q
// the best approximation of a/c is the best of a/b followed by the best of b/c. That is so when
// the errors of the odd numbers, each rounded by itself, lie within half a step of one another.
// It is never below 3.
func ConsistentLimit(n int) int {
	low, high := 0.0, 0.0 // errors in steps; that of 1
	for q := 3; q <= mostOddLimit; q += 2 {
		exact := float64(n) * math.Log2(float64(q))
		off := math.Round(exact) - exact
		low, high = min(low, off), max(high, off)
		if high-low > 0.5 {
			return q - 2
		}
	}
	return mostOddLimit
}
