package command

import (
	"encoding/json"
	"fmt"
	"io"

	"tunerd/internal/journal"
	"tunerd/internal/setup"
)

// beginKeeping begins to keep a check in the journal. A nil keeper keeps nothing.
func (o *intonationOptions) beginKeeping(chat io.Writer, describe func(journal.Session) journal.Session) (*keeper, error) {
	plan, err := (&tuningOptions{tuning: o.instrument.tuning, reference: o.instrument.reference, instrument: o.name, tolerance: 0.5}).plan()
	if err != nil {
		return nil, err
	}
	return o.keep.begin(describe(plan.session("intonation")), func(line string) { fmt.Fprintf(chat, "tunerd: %s\n", line) })
}

// keepPluck keeps one pluck.
func keepPluck(k *keeper, c *setup.Check, n setup.Note, p setup.Pluck) {
	if k == nil {
		return
	}
	hz := c.Board.Hz(n)
	k.Add(journal.Reading{
		TimeS: p.AtS, File: p.Source, String: n.String, Fret: n.Fret, Harmonic: n.Harmonic,
		Label: c.Board.Label(n), TargetHz: hz, F1Hz: p.F1Hz, SigmaCents: p.SigmaCents, Cents: setup.Cents(p.F1Hz, hz),
		AttackF1Hz: journal.Unknown, Partial1Hz: journal.Unknown, B: p.B, SNRdB: p.SNRdB,
		FromS: c.Settings.Window[0], ToS: c.Settings.Window[1],
	})
}

// keepResult keeps what a check came to beside its readings, and ends the session. A check that was
// stopped before it came to anything has its readings only.
func keepResult(k *keeper, chat io.Writer, c *setup.Check) error {
	if k == nil {
		return nil
	}
	if r, err := c.Fit(); err == nil {
		if data, err := json.Marshal(map[string]any{"intonation": r}); err == nil {
			k.Amend(func(s *journal.Session) { s.Data = string(data) })
		}
	}
	return k.end(chat)
}
