package command

import (
	"io"
	"log/slog"

	"tunerd/internal/capture"
	"tunerd/internal/engine"
	"tunerd/internal/server"
	"tunerd/internal/targets"
)

// serving keeps the readings of a server, a session for each input and choice; nil if nothing is to
// be kept.
func (o *keepOptions) serving(chat io.Writer, log *slog.Logger) server.Keep {
	if !o.keep {
		return nil
	}
	return func(c server.Chosen, source capture.Source) (engine.Sink, func(), error) {
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
