package targets

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// An Objective is what the best approximation of a chord makes smallest.
type Objective string

const (
	ByWorst    Objective = "worst"    // the largest error of a pair of notes, in cents
	ByWeighted Objective = "weighted" // the weighted root mean square of the errors of all pairs
	ByRelative Objective = "relative" // as ByWorst, but ranked in parts of a step
)

// ParseObjective reads the name of an objective.
func ParseObjective(name string) (Objective, error) {
	switch o := Objective(name); o {
	case ByWorst, ByWeighted, ByRelative:
		return o, nil
	}
	return "", fmt.Errorf("%s is nothing to rank by; write %s, %s or %s", quote(name), ByWorst, ByWeighted, ByRelative)
}

// A ChordFit is the best approximation of a chord over the notes of a tuning.
type ChordFit struct {
	Chord         Chord     `json:"-"`
	Root          Note      `json:"-"`     // the note of the tuning that the chord stands on
	Steps         []int     `json:"steps"` // of each note of the chord, from the root
	Pairs         []PairFit `json:"-"`
	WorstCents    float64   `json:"worst_cents"`    // largest error of a pair, without sign
	WeightedCents float64   `json:"weighted_cents"` // √(Σ w·error² / Σ w) over the pairs, w = 1/√(n·m)
	Consistent    bool      `json:"consistent"`     // every pair is also the best approximation of its own interval
}

// A PairFit is one pair of notes of a chord in a tuning.
type PairFit struct {
	Low       uint64  `json:"low"` // parts of the chord
	High      uint64  `json:"high"`
	N         uint64  `json:"-"` // the pure interval is N/M, in lowest terms
	M         uint64  `json:"-"`
	Steps     int     `json:"steps"`       // from the low note to the high one
	BestSteps int     `json:"best_steps"`  // from the low note to the note nearest to N/M above it
	Cents     float64 `json:"error_cents"` // tempered minus pure; positive is wide
	BeatHz    float64 `json:"beat_hz"`     // of partial N of the low note and partial M of the high one
}

// Ratio returns the pure interval of the pair, like "5/4".
func (p PairFit) Ratio() string { return fmt.Sprintf("%d/%d", p.N, p.M) }

// Name returns the pair as parts of the chord, like "4:5".
func (p PairFit) Name() string { return fmt.Sprintf("%d:%d", p.Low, p.High) }

// A TuningFit is a tuning with the best approximations of several chords.
type TuningFit struct {
	Tuning        *Tuning    `json:"-"`
	Chords        []ChordFit `json:"-"`
	WorstCents    float64    `json:"worst_cents"`    // over all chords
	WeightedCents float64    `json:"weighted_cents"` // over all pairs of all chords
	RelativeWorst float64    `json:"worst_steps"`    // WorstCents over the mean step
	Consistent    bool       `json:"consistent"`
}

// CompareTunings fits the chords, which ParseChords has read, in every tuning and sorts the
// tunings, the best first.
func CompareTunings(tunings []*Tuning, chords []Chord, by Objective) []TuningFit {
	fits := make([]TuningFit, len(tunings))
	for i, t := range tunings {
		fits[i] = fitAll(t, chords, by)
	}
	slices.SortStableFunc(fits, func(a, b TuningFit) int {
		return cmp.Compare(by.of(a.WorstCents, a.WeightedCents, a.RelativeWorst), by.of(b.WorstCents, b.WeightedCents, b.RelativeWorst))
	})
	return fits
}

// of picks the figure that the objective ranks by.
func (o Objective) of(worst, weighted, relative float64) float64 {
	switch o {
	case ByWeighted:
		return weighted
	case ByRelative:
		return relative
	}
	return worst
}

func fitAll(t *Tuning, chords []Chord, by Objective) TuningFit {
	fit := TuningFit{Tuning: t, Consistent: true}
	var total meanSquare
	for _, c := range chords {
		f := FitChord(t, c, by)
		fit.Chords = append(fit.Chords, f)
		fit.WorstCents = max(fit.WorstCents, f.WorstCents)
		fit.Consistent = fit.Consistent && f.Consistent
		for i, p := range f.Pairs {
			total.add(c.pairs[i].weight, p.Cents)
		}
	}
	fit.WeightedCents = total.root()
	fit.RelativeWorst = fit.WorstCents * float64(len(t.cents)) / t.periodCents
	return fit
}

// A meanSquare sums weighted squares.
type meanSquare struct{ squares, weights float64 }

func (s *meanSquare) add(weight, x float64) {
	s.squares += weight * x * x
	s.weights += weight
}

func (s *meanSquare) root() float64 { return math.Sqrt(s.squares / s.weights) }

// FitChord finds the best approximation of a chord over all roots of the tuning and all choices
// of notes above each. The search is exact: rounding each interval from the root by itself is
// only one of the choices. Of two equally good the lower weighted error is taken, then the lower
// root.
func FitChord(t *Tuning, c Chord, by Objective) ChordFit {
	roots := len(t.cents)
	if t.division > 0 {
		roots = 1 // all are alike
	}
	s := newChordSearch(c)
	var best []int
	bestRoot, bestCost := 0, cost{math.Inf(1), math.Inf(1)}
	for root := range roots {
		s.load(t, root)
		if got := s.search(by); got.less(bestCost) {
			bestRoot, bestCost, best = root, got, slices.Clone(s.best)
		}
	}
	return newChordFit(t, c, bestRoot, best)
}

// newChordFit describes a choice of notes: steps above the root.
func newChordFit(t *Tuning, c Chord, root int, steps []int) ChordFit {
	f := ChordFit{Chord: c, Root: t.Note(root), Steps: steps, Consistent: true}
	var total meanSquare
	for _, p := range c.pairs {
		low, high := root+steps[p.low], root+steps[p.high]
		at := t.stepCents(low)
		size := t.stepCents(high) - at
		pair := PairFit{
			Low: c.parts[p.low], High: c.parts[p.high], N: p.n, M: p.m,
			Steps: high - low, BestSteps: t.nearestCents(at+p.cents) - low, Cents: size - p.cents,
			BeatHz: BeatRate(int(p.n), int(p.m), t.hz(low), t.hz(high)),
		}
		f.Pairs = append(f.Pairs, pair)
		f.WorstCents = max(f.WorstCents, math.Abs(pair.Cents))
		f.Consistent = f.Consistent && pair.Steps == pair.BestSteps
		total.add(p.weight, pair.Cents)
	}
	f.WeightedCents = total.root()
	return f
}

// stepCents returns the size of the interval from the note of index 0 to a step.
func (t *Tuning) stepCents(step int) float64 { return t.indexCents(t.zero + step) }

// nearestCents returns the step nearest to a size from the note of index 0, the lower of two
// equally near.
func (t *Tuning) nearestCents(c float64) int {
	below, above := t.around(c)
	if t.stepCents(above)-c < c-t.stepCents(below) {
		return above
	}
	return below
}

// around returns the steps at or below and above a size in cents from the note of index 0.
func (t *Tuning) around(c float64) (below, above int) {
	periods := math.Floor(c / t.periodCents)
	within := c - periods*t.periodCents
	i, found := slices.BinarySearch(t.cents, within)
	index := int(periods)*len(t.cents) + i
	if !found {
		index--
	}
	return index - t.zero, index + 1 - t.zero
}

// InconsistentPair returns the first pair that is not the best approximation of its own
// interval, and false if there is none.
func (f *ChordFit) InconsistentPair() (PairFit, bool) {
	for _, p := range f.Pairs {
		if p.Steps != p.BestSteps {
			return p, true
		}
	}
	return PairFit{}, false
}
