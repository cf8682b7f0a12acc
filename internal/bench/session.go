package bench

import (
	"bytes"
	"fmt"
)

func (b *Bench) getSession(*asked) (any, error) { return rawMsg(b.cfg.Tuner.Session()), nil }

func (b *Bench) putSession(r *asked) (any, error) {
	var next struct {
		Settings
		EndCheck bool `json:"end_check"`
	}
	if err := r.read(&next); err != nil {
		return nil, err
	}
	return b.changed(next.EndCheck, func(now *Settings) error {
		*now = next.Settings
		return nil
	})
}

// A settingsPatch is a Settings of which only what is given counts.
type settingsPatch struct {
	Instrument     *string  `json:"instrument"`
	Tuning         *string  `json:"tuning"`
	Reference      *string  `json:"reference"`
	String         *int     `json:"string"`
	Frets          *bool    `json:"frets"`
	AllStrings     *bool    `json:"all_strings"`
	ToleranceCents *float64 `json:"tolerance_cents"`
	Rows           *string  `json:"rows"`
	Plan           rawMsg   `json:"plan"` // null is a choice too
	AcceptRisk     *bool    `json:"accept_risk"`
	Coupled        *bool    `json:"coupled"`
	Support        *string  `json:"support"`
	EndCheck       bool     `json:"end_check"`
}

func (b *Bench) patchSession(r *asked) (any, error) {
	var patch settingsPatch
	if err := r.read(&patch); err != nil {
		return nil, err
	}
	return b.changed(patch.EndCheck, patch.apply)
}

func (p *settingsPatch) apply(s *Settings) error {
	if differs(p.Instrument, s.Instrument) {
		s.String, s.Plan = 0, nil // they are the old one's
		s.Frets = s.Frets && *p.Instrument != ""
		s.AllStrings = s.AllStrings && *p.Instrument != ""
		s.Coupled, s.Support = false, ""
	}
	if differs(p.Instrument, s.Instrument) || differs(p.Tuning, s.Tuning) || differs(p.Reference, s.Reference) || p.Plan != nil {
		s.AcceptRisk = false // it was accepted for the targets that were
	}
	switch { // all strings at once exclude one string, and frets
	case p.AllStrings != nil && *p.AllStrings:
		s.String, s.Frets = 0, false
	case p.AllStrings == nil && (p.String != nil && *p.String != 0 || p.Frets != nil && *p.Frets):
		s.AllStrings = false
	}
	set(&s.Instrument, p.Instrument)
	set(&s.Tuning, p.Tuning)
	set(&s.Reference, p.Reference)
	set(&s.String, p.String)
	set(&s.Frets, p.Frets)
	set(&s.AllStrings, p.AllStrings)
	set(&s.ToleranceCents, p.ToleranceCents)
	set(&s.Rows, p.Rows)
	set(&s.AcceptRisk, p.AcceptRisk)
	set(&s.Coupled, p.Coupled)
	set(&s.Support, p.Support)
	if p.Plan == nil {
		return nil
	}
	s.Plan = nil
	return strictJSON(bytes.NewReader(p.Plan), &s.Plan)
}

func differs[T comparable](given *T, from T) bool { return given != nil && *given != from }

// set sets what is given.
func set[T any](dst, given *T) {
	if given != nil {
		*dst = *given
	}
}

// changed changes the settings. Another instrument ends a check that is under way, which has to be said.
func (b *Bench) changed(endCheck bool, change func(*Settings) error) (any, error) {
	ended := false
	err := b.cfg.Tuner.Change(func(now *Settings) error {
		before := now.Instrument
		if err := change(now); err != nil || now.Instrument == before {
			return err
		}
		check := b.cfg.Tuner.guide.now()
		if check.Active && !endCheck {
			return Refusal{statusConflict, codeCheck, fmt.Sprintf("a check of %s is under way, %d of %d notes; with another instrument it ends, and its readings are forgotten", check.Name, check.Done, check.Of)}
		}
		ended = check.Active
		return nil
	})
	if err != nil {
		return nil, err
	}
	if ended {
		b.cfg.Tuner.guide.end()
	}
	return rawMsg(b.cfg.Tuner.Session()), nil
}

func (b *Bench) confirmSession(r *asked) (any, error) {
	if err := r.read(&struct{}{}); err != nil {
		return nil, err
	}
	if err := b.cfg.Tuner.Confirm(); err != nil {
		return nil, err
	}
	return rawMsg(b.cfg.Tuner.Session()), nil
}

func (b *Bench) clearSession(r *asked) (any, error) {
	if err := r.read(&struct{}{}); err != nil {
		return nil, err
	}
	if err := b.cfg.Tuner.Clear(); err != nil {
		return nil, err
	}
	return rawMsg(b.cfg.Tuner.Session()), nil
}
