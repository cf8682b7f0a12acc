package bench

import (
	"fmt"
	"math"

	"tunerd/internal/beats"
	"tunerd/internal/targets"
)

// Limits of a question about beats.
const (
	maxBeatNotes    = 16
	maxPartials     = 64
	maxWithin       = 600 // cents
	drivePartials   = 3   // of each note, that make difference tones
	maxDifferences  = 500
	maxAbsNoteCents = 1200
)

// A beatsRequest asks for the beats of notes with one another.
type beatsRequest struct {
	Instrument  string     `json:"instrument"`
	Tuning      string     `json:"tuning"`
	Reference   string     `json:"reference"`
	Plan        *Plan      `json:"plan"`
	Notes       []beatNote `json:"notes"`
	Chord       string     `json:"chord"`
	Partials    int        `json:"partials"`
	WithinCents float64    `json:"within_cents"`
	Differences bool       `json:"differences"`
}

// A beatNote is a string at a fret, a note of the tuning, or a pitch; and so many cents beside it.
type beatNote struct {
	String int      `json:"string"`
	Fret   int      `json:"fret"`
	Note   string   `json:"note"`
	Hz     float64  `json:"hz"`
	Cents  float64  `json:"cents"`
	B      *float64 `json:"inharmonicity"`
}

type beatsAnswer struct {
	Notes       []beats.Tone     `json:"notes"`
	Pairs       []beatPair       `json:"pairs"`
	Differences []differenceTone `json:"differences"`
}

// A beatPair is two of the notes, by their place from 0.
type beatPair struct {
	Lower int         `json:"lower"`
	Upper int         `json:"upper"`
	Found []coincides `json:"found"`
	Rough int         `json:"rough"` // left out, as they beat too fast
}

type coincides struct {
	Ratio        string  `json:"ratio"`
	LowerPartial int     `json:"lower_partial"`
	UpperPartial int     `json:"upper_partial"`
	NearHz       float64 `json:"near_hz"`
	BeatHz       float64 `json:"beat_hz"`
	OffCents     float64 `json:"off_cents"`
}

type differenceTone struct {
	beats.CombinationTone
	Fits bool `json:"fits"`
}

func (b *Bench) postBeats(r *asked) (any, error) {
	req := beatsRequest{Partials: beats.DefaultPartials, WithinCents: beats.DefaultWithin}
	if err := r.read(&req); err != nil {
		return nil, err
	}
	if err := req.check(); err != nil {
		return nil, err
	}
	a, err := b.cfg.Catalog.resolve(Settings{Instrument: req.Instrument, Tuning: req.Tuning, Reference: req.Reference, Plan: req.Plan,
		AcceptRisk: true}) // nothing is tuned to them
	if err != nil {
		return nil, err
	}
	tones := make([]beats.Tone, len(req.Notes))
	for i := range req.Notes {
		if tones[i], err = req.Notes[i].tone(a); err != nil {
			return nil, fmt.Errorf("note %d: %w", i+1, err)
		}
	}
	var answer *beatsAnswer
	err = b.alone(r, func() (err error) {
		answer, err = req.answer(tones)
		return err
	})
	return answer, err
}

func (req *beatsRequest) check() error {
	switch {
	case len(req.Notes) < 2 || len(req.Notes) > maxBeatNotes:
		return fmt.Errorf("%d notes; give 2 to %d", len(req.Notes), maxBeatNotes)
	case req.Partials < 1 || req.Partials > maxPartials:
		return fmt.Errorf("partials %d is not within 1 to %d", req.Partials, maxPartials)
	case !(req.WithinCents > 0 && req.WithinCents <= maxWithin):
		return fmt.Errorf("within_cents %g is not within 0 to %d", req.WithinCents, maxWithin)
	}
	return nil
}

func (n *beatNote) tone(a *resolved) (beats.Tone, error) {
	t, err := n.placed(a)
	if err != nil {
		return t, err
	}
	if !(math.Abs(n.Cents) <= maxAbsNoteCents) {
		return t, fmt.Errorf("cents %g is not within -%d to %d", n.Cents, maxAbsNoteCents, maxAbsNoteCents)
	}
	t.Hz *= math.Exp2(n.Cents / 1200)
	if n.B != nil {
		t.B = *n.B
	}
	switch {
	case !(t.Hz >= targets.MinNoteHz && t.Hz <= targets.MaxNoteHz):
		return t, fmt.Errorf("%g Hz is not within %g to %g Hz", t.Hz, targets.MinNoteHz, targets.MaxNoteHz)
	case !(t.B >= 0 && t.B <= 0.1):
		return t, fmt.Errorf("inharmonicity %g is not within 0 to 0.1", t.B)
	}
	return t, nil
}

// placed returns the note without its cents.
func (n *beatNote) placed(a *resolved) (beats.Tone, error) {
	switch {
	case n.String != 0 && a.instrument == nil:
		return beats.Tone{}, fmt.Errorf("string %d: name the instrument", n.String)
	case n.String != 0:
		return stringTone(a.instrument, n.String, n.Fret)
	case n.Note != "":
		step, err := a.tuning.Step(n.Note)
		if err != nil {
			return beats.Tone{}, err
		}
		note := a.tuning.Note(step)
		return beats.Tone{Label: note.Label, Hz: note.Hz}, nil
	}
	return beats.Tone{Label: fmt.Sprintf("%g Hz", n.Hz), Hz: n.Hz}, nil
}

func stringTone(in *targets.Instrument, str, fret int) (beats.Tone, error) {
	target, err := in.Fretted(str, fret)
	if err != nil {
		return beats.Tone{}, err
	}
	s := &in.Strings[str-1]
	t := beats.Tone{Label: target.Label, Hz: target.Hz, B: s.Inharmonicity}
	if fret > 0 {
		t.B = beats.Fretted(s.Inharmonicity, s.Frets[fret-1].Cents)
	}
	return t, nil
}

func (req *beatsRequest) answer(tones []beats.Tone) (*beatsAnswer, error) {
	a := &beatsAnswer{Notes: tones, Pairs: []beatPair{}, Differences: []differenceTone{}}
	var wanted []int // nil: whatever lies nearest
	var err error
	if req.Chord != "" {
		if wanted, err = targets.ParseChordNumbers(req.Chord, len(tones)); err != nil {
			return nil, err
		}
	}
	pairs := beats.Pairs(tones, req.Partials, req.WithinCents)
	if wanted != nil {
		pairs = beats.PairsOf(tones, wanted)
	}
	for _, p := range pairs {
		a.Pairs = append(a.Pairs, newBeatPair(&p))
	}
	if !req.Differences {
		return a, nil
	}
	series, err := beats.SeriesOf(tones)
	if wanted != nil {
		series, err = beats.NewSeries(tones, wanted)
	}
	if err != nil {
		return nil, err
	}
	found := beats.Combinations(tones, series, beats.CombinationLimits{Partials: drivePartials})
	for _, c := range found[:min(maxDifferences, len(found))] {
		a.Differences = append(a.Differences, differenceTone{c, c.Fits(beats.SlowHz)})
	}
	return a, nil
}

func newBeatPair(p *beats.Pair) beatPair {
	found, rough := p.Beating()
	b := beatPair{Lower: p.I, Upper: p.J, Found: []coincides{}, Rough: rough}
	for _, c := range found {
		b.Found = append(b.Found, coincides{
			fmt.Sprintf("%d/%d", c.N, c.M), c.N, c.M, c.Hz(), c.BeatHz(), c.Cents(),
		})
	}
	return b
}
