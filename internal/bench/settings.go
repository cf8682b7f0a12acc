package bench

import (
	"cmp"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/setup"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

const (
	defaultTuning    = "12edo"
	defaultTolerance = 0.5 // cents
)

// Settings are what a user may choose of a running tuner.
type Settings struct {
	Instrument     string  `json:"instrument"`  // a name of the catalog; empty: none
	Tuning         string  `json:"tuning"`      // a spec; empty: the instrument's, or 12edo
	Reference      string  `json:"reference"`   // such as A4=440; empty: the instrument's, or A4=440
	String         int     `json:"string"`      // held, from 1; 0: none
	Frets          bool    `json:"frets"`       // fretted notes are targets too
	AllStrings     bool    `json:"all_strings"` // all open strings are read at once
	ToleranceCents float64 `json:"tolerance_cents"`
	Rows           string  `json:"rows"` // of the strobe: "string" or "harmonics"; empty: string
	Plan           *Plan   `json:"plan"`
	AcceptRisk     bool    `json:"accept_risk"` // also targets beyond the limit of tension
	Coupled        bool    `json:"coupled"`     // the strings pull on each other: say what to tune each to now
	Support        string  `json:"support"`     // what they pull at, of coupling.Supports; empty: as learned before, or unknown
}

// maxPlanName is the most characters of a plan's name: it stands above the reading.
const maxPlanName = 120

// A Plan puts every open string so many cents above its tuning.
type Plan struct {
	Name  string    `json:"name"`
	Cents []float64 `json:"cents"`
}

// tune returns the instrument as the plan tunes it.
func (p *Plan) tune(in *targets.Instrument) (*targets.Instrument, error) {
	if n := utf8.RuneCountInString(p.Name); n > maxPlanName || strings.ContainsFunc(p.Name, func(r rune) bool { return !unicode.IsGraphic(r) }) {
		return nil, fmt.Errorf("plan: its name has %d characters; up to %d that can be shown on one line are accepted", n, maxPlanName)
	}
	detuned, err := in.Detuned(p.Cents)
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return detuned, nil
}

// refuseRisk refuses what puts a string beyond the limit of tension, unless that is accepted.
func refuseRisk(changes []tension.Change, accepted bool) error {
	if err := tension.Refuse(changes); err != nil && !accepted {
		return Refusal{statusInvalid, codeRisk, err.Error()}
	}
	return nil
}

// A resolved is what settings come to: targets, tuning, cautions.
type resolved struct {
	settings   Settings
	config     targets.ResolverConfig
	tuning     *targets.Tuning
	instrument *targets.Instrument // nil without one
	strings    []targets.Target
	cautions   []string // to be shown before anybody turns a peg
	noCheck    string   // why its intonation cannot be checked; empty: it can
}

// resolve reads the settings.
func (c *Catalog) resolve(s Settings) (*resolved, error) {
	if s.ToleranceCents == 0 {
		s.ToleranceCents = defaultTolerance
	}
	switch s.Rows = cmp.Or(s.Rows, string(display.StringRows)); display.Rows(s.Rows) {
	case display.StringRows, display.HarmonicRows:
	default:
		return nil, fmt.Errorf("rows %q: it is %s or %s", s.Rows, display.StringRows, display.HarmonicRows)
	}
	a := &resolved{settings: s, config: targets.ResolverConfig{String: s.String, Frets: s.Frets, ToleranceCents: s.ToleranceCents}}
	if err := a.choose(c); err != nil {
		return nil, err
	}
	resolver, err := targets.NewResolver(a.config)
	if err != nil {
		return nil, err
	}
	a.strings = resolver.Strings()
	if err := a.checkCoupled(); err != nil {
		return nil, err
	}
	if s.AllStrings {
		return a, a.checkAllStrings()
	}
	return a, nil
}

// usualRate stands for the rate of an input that is not known yet, in Hz.
const usualRate = 48000

// checkAllStrings tells whether all strings can be read at once.
func (a *resolved) checkAllStrings() error {
	s := &a.settings
	switch {
	case a.instrument == nil:
		return errors.New("all_strings: these are an instrument's; name one")
	case s.Frets || s.String != 0:
		return errors.New("all_strings: all open strings are read; frets must be false and string 0")
	}
	_, err := engine.OpenStrings(a.instrument)(usualRate, a.strings, nil)
	return err
}

func (a *resolved) choose(c *Catalog) (err error) {
	s := &a.settings
	if s.Instrument != "" {
		if a.instrument, err = c.Tuned(s.Instrument, s.Tuning, s.Reference); err != nil {
			return err
		}
		if s.Plan != nil {
			if a.instrument, err = s.Plan.tune(a.instrument); err != nil {
				return err
			}
		}
		changes := tension.Changes(a.instrument, nil)
		if err := refuseRisk(changes, s.AcceptRisk); err != nil {
			return err
		}
		a.cautions = tension.Cautions(changes)
		if _, err := setup.NewBoard(a.instrument); err != nil {
			a.noCheck = err.Error()
		}
		a.config.Instrument, a.tuning = a.instrument, a.instrument.Tuning
		return nil
	}
	a.noCheck = errNoInstrument.Error()
	if s.Plan != nil {
		return errors.New("plan: it is for the strings of an instrument; name one")
	}
	if s.Frets {
		return errors.New("frets: these are an instrument's; name one")
	}
	spec := s.Tuning
	if spec == "" {
		spec = defaultTuning
	}
	a.tuning, err = c.Tuning(spec, s.Reference)
	a.config.Tuning = a.tuning
	return err
}

// engine returns them as the engine takes it. Every session needs its own.
func (a *resolved) engine() (engine.TargetConfig, error) {
	resolver, err := targets.NewResolver(a.config)
	if err != nil {
		return engine.TargetConfig{}, err
	}
	labels := engine.Labels{Tuning: a.tuning.String(), Reference: a.tuning.Reference().String()}
	if a.instrument != nil {
		labels.Instrument = a.instrument.Name
	}
	e := engine.TargetConfig{Resolver: resolver, Labels: labels, Bands: engine.RatioBands(a.tuning)}
	if a.settings.AllStrings {
		e.Chords = engine.OpenStrings(a.instrument)
	}
	return e, nil
}

// rows returns the list of strings before anything is read.
func (a *resolved) rows() []display.StringRow {
	rows := make([]display.StringRow, len(a.strings))
	for i, t := range a.strings {
		rows[i] = display.StringRow{Number: i + 1, Label: t.Label, TargetHz: t.Hz, Held: a.settings.String == i+1}
	}
	return rows
}
