package detune

import (
	"math"
	"slices"

	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// A Plan says how far each open string is moved.
type Plan struct {
	Instrument *targets.Instrument // not moved
	Tuning     string              // spec that replaces the instrument's own; "": none does
	Reference  string              // the same of its reference
	Chords     []Chord             // that it was made for
	Method     Method
	PureBy     Purity
	Anchor     int       // string that stays, from 1; 0: none was chosen
	Cents      []float64 // of each open string in the instrument's order, against the instrument's own pitch
	Measured   []Measured
	AcceptRisk bool // the user has accepted tensions above the limit

	Obstacles []Obstacle // that keep the chords from being met in full; not kept in a file
}

// Detuned returns the instrument as the plan tunes it.
func (p *Plan) Detuned() (*targets.Instrument, error) { return p.Instrument.Detuned(p.Cents) }

// NowHz returns the pitch of open string n (from 1) before the plan: as measured, or else as the
// instrument has it.
func (p *Plan) NowHz(n int) float64 {
	if p.Measured != nil && p.Measured[n-1].Hz > 0 {
		return p.Measured[n-1].Hz
	}
	return p.Instrument.Strings[n-1].Open.Hz
}

// AfterHz returns the pitch of open string n (from 1) after it.
func (p *Plan) AfterHz(n int) float64 {
	return p.Instrument.Strings[n-1].Open.Hz * math.Exp2(p.Cents[n-1]/1200)
}

// Changes returns what every string bears now and after.
func (p *Plan) Changes() []tension.Change {
	now := make([]float64, len(p.Cents))
	after := *p.Instrument
	after.Strings = slices.Clone(p.Instrument.Strings)
	for i := range now {
		now[i] = p.NowHz(i + 1)
		after.Strings[i].Open.Hz = p.AfterHz(i + 1)
	}
	return tension.Changes(&after, now)
}

// problem returns the problem that the plan answers, for what it knows of the strings.
func (p *Plan) problem() Problem {
	return Problem{Instrument: p.Instrument, Chords: p.Chords, Anchor: p.Anchor,
		Method: p.Method, PureBy: p.PureBy, Measured: p.Measured}.withDefaults()
}
