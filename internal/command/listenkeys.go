package command

import (
	"tunerd/internal/capture"
	"tunerd/internal/display/term"
	"tunerd/internal/engine"
)

// keys carry out what the user asks of a session on the screen.
type keys struct {
	session *engine.Session
	plan    *plan
	source  capture.Source
	options *listenOptions
}

// act carries out what a key asks for. The screen offers only strings that there are, so that
// Hold cannot fail.
func (k *keys) act(a term.Action) {
	switch a.Order {
	case term.Hold:
		_ = k.session.Hold(a.String)
	case term.LetGo:
		_ = k.session.Hold(0)
	case term.Clear:
		k.session.Clear()
	case term.Confirm:
		k.session.Confirm()
	case term.SetRows:
		k.session.Rows(a.Rows)
	case term.Together, term.Single:
		if err := k.turn(a.Order == term.Together); err != nil {
			k.session.Say(oneLine(err))
		}
	}
}

// turn makes the session read all strings at once, or one note at a time.
func (k *keys) turn(together bool) error {
	resolver, err := k.plan.resolver()
	if err != nil {
		return err
	}
	_ = resolver.Hold(0)
	next := engine.TargetConfig{Resolver: resolver, Labels: k.plan.labels, Bands: engine.RatioBands(k.plan.tuning), Coupled: k.options.passing.coupled()}
	if together {
		next.Chords = k.plan.chords()
		if _, err := next.Chords(usualRate, resolver.Strings(), nil); err != nil {
			return err
		}
	} else if next.Tracker, err = k.options.tracker(k.source); err != nil { // the old one has not heard what came meanwhile
		return err
	}
	k.session.Retune(next)
	return nil
}
