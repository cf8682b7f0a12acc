package command

import (
	"errors"
	"io"
	"log/slog"

	"tunerd/internal/bench"
	"tunerd/internal/capture"
	"tunerd/internal/engine"
	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/targets"
)

// serving keeps the readings of a server, a session for each input and choice; nil if nothing is to
// be kept.
func (o *keepOptions) serving(chat io.Writer, log *slog.Logger) bench.Keep {
	if !o.keep {
		return nil
	}
	return func(c bench.Chosen, source capture.Source) (engine.Sink, func(), error) {
		p := &plan{
			config: targets.ResolverConfig{Instrument: c.Instrument},
			labels: engine.Labels{Tuning: c.Tuning.String(), Reference: c.Tuning.Reference().String()},
		}
		if c.Settings.Plan != nil {
			p.file = c.Settings.Plan.Name
		}
		keeper, err := o.begin(from(p.session("listen"), source), func(line string) { log.Warn(line) })
		if err != nil {
			return nil, nil, err
		}
		end := func() {
			if err := keeper.end(chat); err != nil {
				log.Error("not all readings are kept", "error", err)
			}
		}
		return keeper.sinks()[0], end, nil
	}
}

// onJournal does something with the journal, which is opened for it: it is another program's too, and may come and go.
func (o *keepOptions) onJournal(use func(*journal.Journal) error) error {
	j, err := sqlite.OpenExisting(o.path)
	if err != nil {
		return err
	}
	return errors.Join(use(j), j.Close())
}
