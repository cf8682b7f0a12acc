package bench

import (
	"errors"

	"tunerd/internal/coupling"
	"tunerd/internal/engine"
	"tunerd/internal/targets"
)

// A CouplingStore keeps what is known of how the strings of instruments pull on each other.
type CouplingStore interface {
	Load(in *targets.Instrument) (*coupling.File, error) // nil without an error: nothing is known
	Save(in *targets.Instrument, f coupling.File) error
}

// checkCoupled tells whether the coupling of strings can be learned.
func (a *resolved) checkCoupled() error {
	s := &a.settings
	if s.Support != "" {
		if _, err := coupling.ParseSupport(s.Support); err != nil {
			return err
		}
	}
	if !s.Coupled {
		return nil
	}
	if a.instrument == nil {
		return errors.New("coupled: the strings are an instrument's; name one")
	}
	_, _, err := coupling.OfInstrument(a.instrument, coupling.Untold, coupling.UsualBehindMM)
	return err
}

// coupled returns what makes the follower of a, nil if nobody asks for one. It is tried once, so that who asks learns
// why there can be none.
func (t *Tuner) coupled(a *resolved) (engine.NewCoupled, error) {
	if !a.settings.Coupled {
		return nil, nil
	}
	create := func() (*coupling.Follower, error) { return t.follower(a) }
	_, err := create()
	return create, err
}

// follower returns what learns how the strings pull on each other, with what is known.
func (t *Tuner) follower(a *resolved) (*coupling.Follower, error) {
	file := coupling.File{BehindMM: coupling.UsualBehindMM}
	support := coupling.Untold
	if t.cfg.Coupling != nil {
		kept, err := t.cfg.Coupling.Load(a.instrument)
		if err != nil {
			return nil, err
		}
		if kept != nil {
			file, support = *kept, kept.Known.Support
		}
	}
	if s := coupling.Support(a.settings.Support); s != "" && s != support {
		support, file.Known = s, nil // what was learned on another support says nothing
	}
	prior, _, err := coupling.OfInstrument(a.instrument, support, file.BehindMM)
	if err != nil {
		return nil, err
	}
	var labels []string
	for _, open := range a.strings {
		labels = append(labels, open.Label)
	}
	f, err := coupling.NewFollower(prior, file.Known, labels)
	if err != nil || t.cfg.Coupling == nil {
		return f, err
	}
	f.OnEnd(func(f *coupling.Follower) {
		if !f.Taught() {
			return
		}
		record := f.Record()
		file.Known, file.LastPass = f.Known(), &record
		if err := t.cfg.Coupling.Save(a.instrument, file); err != nil {
			t.cfg.Log.Error("how the strings pull on each other is not kept", "error", err)
		}
	})
	return f, nil
}

// couplingState is what is known of how the strings pull on each other.
type couplingState struct {
	Coupled bool             `json:"coupled"`
	Phase   coupling.Phase   `json:"phase"`
	Next    int              `json:"next"`
	Message string           `json:"message"`
	Loses   [][]float64      `json:"loses_per_100_cents"` // of a string, in cents, by the string that is raised
	Record  *coupling.Record `json:"record"`              // of the pass: forecast and what came
	Caution string           `json:"caution"`
}

// getCoupling answers who pulls whom, and how the pass goes.
func (b *Bench) getCoupling(*asked) (any, error) {
	t := b.cfg.Tuner
	t.mu.Lock()
	defer t.mu.Unlock()
	s := couplingState{Coupled: t.resolved.settings.Coupled, Loses: [][]float64{}, Caution: coupling.Caution}
	if t.session == nil {
		return &s, nil
	}
	if now := t.session.Advice(); now != nil && s.Coupled {
		s.Phase, s.Next, s.Message, s.Loses, s.Record = now.Phase, now.Next, now.Words(), now.Loses, &now.Record
	}
	return &s, nil
}
