package command

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/text"
	"tunerd/internal/journal"
)

type journalListOptions struct {
	listingOptions
	instrument   string
	kind         string
	since, until timeFlag
	most         int
	events       bool
}

func (o *journalListOptions) addFlags(fs *pflag.FlagSet) {
	o.listingOptions.addFlags(fs)
	fs.StringVar(&o.instrument, "instrument", "", "sessions with the instrument `NAME` only")
	fs.StringVar(&o.kind, "kind", "", "sessions of the command `NAME` only: listen, measure, intonation")
	fs.Var(&o.since, "since", "sessions from this `TIME` on, such as 2026-01-31 or \"2026-01-31 18:00\"")
	fs.Var(&o.until, "until", "sessions before this `TIME`")
	fs.IntVar(&o.most, "most", 20, "the newest `N` only; 0 lists all")
	fs.BoolVar(&o.events, "events", false, "list the events instead, such as changes of strings")
}

func newJournalListCommand(path *string) *cobra.Command {
	var o journalListOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List sessions, the newest at the end",
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runJournalList(cmd.Context(), *path, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runJournalList(ctx context.Context, path string, out, chat io.Writer, o journalListOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	if o.most < 0 {
		return usagef("--most %d is below 0", o.most)
	}
	return withJournal(path, chat, func(j *journal.Journal) error {
		f := journal.Filter{Kind: o.kind, Since: o.since.t, Until: o.until.t, Last: o.most}
		if o.instrument != "" {
			of, err := inJournal(ctx, j, o.instrument)
			if err != nil {
				return err
			}
			if len(of) == 0 {
				return hintf(fmt.Errorf("the journal knows no instrument %s", o.instrument), `"tunerd journal list --most 0" shows the instruments of all sessions`)
			}
			f.Instruments = of
		}
		// What can be listed is listed, also of a damaged journal.
		damage, err := j.Check(ctx, f)
		if err != nil {
			return err
		}
		return cmp.Or(damage.Err(), o.list(ctx, j, f, out))
	})
}

// list writes sessions or events.
func (o *journalListOptions) list(ctx context.Context, j *journal.Journal, f journal.Filter, out io.Writer) error {
	if o.events {
		events, err := j.Events(ctx, f.Instruments...)
		if err != nil {
			return err
		}
		return o.write(out, eventList(events))
	}
	sessions, err := j.Sessions(ctx, f)
	if err != nil {
		return err
	}
	return o.write(out, sessionList(sessions, o.plain()))
}

// sessionList lists sessions; times and names are shorter for a person.
func sessionList(sessions []journal.Session, short bool) *text.Listing {
	l := &text.Listing{Type: "session", Columns: []text.Column{
		{Name: "session", Title: "session"}, {Name: "uid"}, {Name: "started", Title: "started"}, {Name: "ended", Title: "ended"},
		{Name: "kind", Title: "kind"}, {Name: "instrument", Title: "instrument"}, {Name: "identity"}, {Name: "tuning", Title: "tuning"},
		{Name: "reference", Title: "reference"}, {Name: "input", Title: "input"}, {Name: "clock_ppm"},
		{Name: "readings", Title: "readings"}, {Name: "plan", Title: "plan"}, {Name: "note", Title: "note"},
	}}
	stamp, name := exactTime, func(s string) string { return s }
	if short {
		stamp, name = shortTime, filepath.Base
	}
	for i := range sessions {
		s := &sessions[i]
		instrument := s.Instrument
		if instrument != "" {
			instrument = name(instrument)
		}
		l.Rows = append(l.Rows, []any{int(s.ID), s.UID, stamp(s.Started), stamp(s.Ended), s.Kind, instrument, s.Identity, s.Tuning,
			s.Reference, s.Input, known(s.Clock.PPM), s.Readings, s.Plan, s.Note})
	}
	return l
}

func eventList(events []journal.Event) *text.Listing {
	l := &text.Listing{Type: "event", Columns: []text.Column{
		{Name: "event", Title: "event"}, {Name: "uid"}, {Name: "at", Title: "when"}, {Name: "instrument", Title: "instrument"},
		{Name: "string", Title: "string"}, {Name: "kind", Title: "kind"}, {Name: "text", Title: "text"},
	}}
	for _, e := range events {
		l.Rows = append(l.Rows, []any{eventName(e.ID), e.UID, exactTime(e.At), e.Instrument, stringOrAll(e.String), e.Kind, e.Text})
	}
	return l
}
