package bench

import (
	"fmt"

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
	Spec      string            `json:"spec"`
	Name      string            `json:"name"`
	Repeat    string            `json:"repeat"`
	Notes     int               `json:"notes"`
	Reference targets.Reference `json:"reference"`
	Steps     []targets.NoteRow `json:"steps"`
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
	answer := tuningAnswer{Spec: spec, Name: t.Name(), Repeat: period.String(), Notes: notes, Reference: t.Reference()}
	err = b.alone(r, func() error { // ratios near to thousands of notes take a while
		answer.Steps = t.Rows(0, notes, limit)
		return nil
	})
	return answer, err
}

type compareAnswer struct {
	Fits []tuningFit `json:"fits"`
}

type tuningFit struct {
	Rank   int    `json:"rank"`
	Tuning string `json:"tuning"`
	*targets.TuningFit
	Chords []chordFit `json:"chords"`
}

type chordFit struct {
	Chord     string  `json:"chord"`
	RootStep  int     `json:"root_step"`
	RootLabel string  `json:"root_label"`
	RootHz    float64 `json:"root_hz"`
	*targets.ChordFit
	Pairs []pairFit `json:"pairs"`
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
	f := tuningFit{Rank: rank, Tuning: from.Tuning.Name(), TuningFit: from}
	for i := range from.Chords {
		f.Chords = append(f.Chords, newChordFit(&from.Chords[i]))
	}
	return f
}

func newChordFit(from *targets.ChordFit) chordFit {
	c := chordFit{Chord: from.Chord.String(), RootStep: from.Root.Step, RootLabel: from.Root.Label, RootHz: from.Root.Hz, ChordFit: from}
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
	Rank int `json:"rank"`
	*targets.DivisionRank
	OddLimit *int `json:"odd_limit"` // null: what is divided is no octave
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
		for i := range ranks {
			answer.Divisions = append(answer.Divisions, newDivision(i+1, &ranks[i]))
		}
		return err
	})
	return answer, err
}

func newDivision(rank int, from *targets.DivisionRank) division {
	d := division{Rank: rank, DivisionRank: from}
	if from.OddLimit > 0 {
		d.OddLimit = &from.OddLimit
	}
	return d
}
