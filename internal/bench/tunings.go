package bench

import (
	"fmt"

	"tunerd/internal/display/text"
	"tunerd/internal/targets"
)

const maxCompared = 50 // tunings at a time

type tuningEntry struct {
	Spec  string `json:"spec"`
	About string `json:"about"`
}

func (b *Bench) getTunings(*asked) (any, error) {
	entries := []tuningEntry{}
	for _, n := range b.cfg.Catalog.tunings {
		entries = append(entries, tuningEntry{n.spec, n.about})
	}
	return struct {
		Tunings []tuningEntry `json:"tunings"`
	}{entries}, nil
}

type tuningAnswer struct {
	Spec      string         `json:"spec"`
	Name      string         `json:"name"`
	Repeat    string         `json:"repeat"`
	Notes     int            `json:"notes"`
	Reference referenceState `json:"reference"`
	Steps     []tuningStep   `json:"steps"`
}

type tuningStep struct {
	Step     int         `json:"step"`
	Label    string      `json:"label"`
	Interval string      `json:"interval"`
	Cents    text.Number `json:"cents"`
	Hz       text.Number `json:"hz"`
	Ratio    string      `json:"ratio"`
	OffCents text.Number `json:"off_cents"`
	BeatHz   text.Number `json:"beat_hz"`
}

func (b *Bench) getTuning(r *asked) (any, error) {
	q := query{values: r.Query}
	spec, reference := q.text("spec", defaultTuning), q.text("reference", "")
	limit := q.whole("limit", targets.DefaultOddLimit, 1, targets.MaxOddLimit)
	if err := q.end(); err != nil {
		return nil, err
	}
	t, err := b.cfg.Catalog.Tuning(spec, reference)
	if err != nil {
		return nil, err
	}
	period, notes := t.Period()
	ref := t.Reference()
	answer := tuningAnswer{Spec: spec, Name: t.Name(), Repeat: period.String(), Notes: notes, Reference: referenceState{ref.Label, text.Number(ref.Hz)}}
	err = b.alone(r, func() error { // ratios near to thousands of notes take a while
		for _, row := range t.Rows(0, notes, limit) {
			answer.Steps = append(answer.Steps, tuningStep{
				row.Step, row.Label, row.Interval.String(), text.Number(row.Cents), text.Number(row.Hz),
				row.Ratio.String(), text.Number(row.OffCents), text.Number(row.BeatHz),
			})
		}
		return nil
	})
	return answer, err
}

type compareAnswer struct {
	Fits []tuningFit `json:"fits"`
}

type tuningFit struct {
	Rank          int         `json:"rank"`
	Tuning        string      `json:"tuning"`
	WorstCents    text.Number `json:"worst_cents"`
	WeightedCents text.Number `json:"weighted_cents"`
	WorstSteps    text.Number `json:"worst_steps"`
	Consistent    bool        `json:"consistent"`
	Chords        []chordFit  `json:"chords"`
}

type chordFit struct {
	Chord         string      `json:"chord"`
	RootStep      int         `json:"root_step"`
	RootLabel     string      `json:"root_label"`
	RootHz        text.Number `json:"root_hz"`
	Steps         []int       `json:"steps"`
	WorstCents    text.Number `json:"worst_cents"`
	WeightedCents text.Number `json:"weighted_cents"`
	Consistent    bool        `json:"consistent"`
	Pairs         []pairFit   `json:"pairs"`
}

type pairFit struct {
	targets.PairFit
	Ratio string `json:"ratio"`
}

// chordsAndObjective reads what tunings are judged by.
func (q *query) chordsAndObjective() ([]targets.Chord, targets.Objective) {
	chords, err := targets.ParseChords(q.text("chords", "4:5:6:7, 10:12:15"))
	if err != nil {
		q.fail("%w", err)
	}
	by, err := targets.ParseObjective(q.text("by", string(targets.ByWorst)))
	if err != nil {
		q.fail("by: %w", err)
	}
	return chords, by
}

func (b *Bench) getCompare(r *asked) (any, error) {
	q := query{values: r.Query}
	specs, reference := q.all("spec"), q.text("reference", "")
	chords, by := q.chordsAndObjective()
	if err := q.end(); err != nil {
		return nil, err
	}
	if len(specs) == 0 || len(specs) > maxCompared {
		return nil, fmt.Errorf("%d times spec; give 1 to %d, like spec=31edo&spec=41edo", len(specs), maxCompared)
	}
	tunings := make([]*targets.Tuning, len(specs))
	for i, spec := range specs {
		t, err := b.cfg.Catalog.Tuning(spec, reference)
		if err != nil {
			return nil, err
		}
		tunings[i] = t
	}
	answer := compareAnswer{Fits: []tuningFit{}}
	err := b.alone(r, func() error {
		for i, f := range targets.CompareTunings(tunings, chords, by) {
			answer.Fits = append(answer.Fits, newTuningFit(i+1, &f))
		}
		return nil
	})
	return answer, err
}

func newTuningFit(rank int, from *targets.TuningFit) tuningFit {
	f := tuningFit{
		Rank: rank, Tuning: from.Tuning.Name(), WorstCents: text.Number(from.WorstCents), WeightedCents: text.Number(from.WeightedCents),
		WorstSteps: text.Number(from.RelativeWorst), Consistent: from.Consistent,
	}
	for _, c := range from.Chords {
		f.Chords = append(f.Chords, newChordFit(&c))
	}
	return f
}

func newChordFit(from *targets.ChordFit) chordFit {
	c := chordFit{
		Chord: from.Chord.String(), RootStep: from.Root.Step, RootLabel: from.Root.Label, RootHz: text.Number(from.Root.Hz), Steps: from.Steps,
		WorstCents: text.Number(from.WorstCents), WeightedCents: text.Number(from.WeightedCents), Consistent: from.Consistent,
	}
	for _, p := range from.Pairs {
		c.Pairs = append(c.Pairs, pairFit{p, p.Ratio()})
	}
	return c
}

type divisionsAnswer struct {
	Of        string     `json:"of"`
	Chords    []string   `json:"chords"`
	Divisions []division `json:"divisions"`
}

type division struct {
	Rank          int         `json:"rank"`
	Division      int         `json:"division"`
	StepCents     text.Number `json:"step_cents"`
	WorstCents    text.Number `json:"worst_cents"`
	WeightedCents text.Number `json:"weighted_cents"`
	WorstSteps    text.Number `json:"worst_steps"`
	Consistent    bool        `json:"consistent"`
	OddLimit      *int        `json:"odd_limit"`
	Record        bool        `json:"record"`
	Steps         [][]int     `json:"steps"`
}

func (b *Bench) getDivisions(r *asked) (any, error) {
	q := query{values: r.Query}
	from, to, err := targets.ParseDivisions(q.text("range", "5..99"))
	if err != nil {
		q.fail("%w", err)
	}
	of, err := targets.ParseInterval(q.text("of", "2/1"))
	if err != nil {
		q.fail("of: %w", err)
	}
	chords, by := q.chordsAndObjective()
	if err := q.end(); err != nil {
		return nil, err
	}
	answer := divisionsAnswer{Of: of.String(), Divisions: []division{}}
	for _, c := range chords {
		answer.Chords = append(answer.Chords, c.String())
	}
	err = b.alone(r, func() error {
		ranks, err := targets.RankDivisions(from, to, of, chords, by)
		for i, rank := range ranks {
			answer.Divisions = append(answer.Divisions, newDivision(i+1, &rank))
		}
		return err
	})
	return answer, err
}

func newDivision(rank int, from *targets.DivisionRank) division {
	d := division{
		Rank: rank, Division: from.Division, StepCents: text.Number(from.StepCents), WorstCents: text.Number(from.WorstCents),
		WeightedCents: text.Number(from.WeightedCents), WorstSteps: text.Number(from.RelativeWorst),
		Consistent: from.Consistent, Record: from.Record, Steps: from.Steps,
	}
	if from.OddLimit > 0 {
		d.OddLimit = &from.OddLimit
	}
	return d
}
