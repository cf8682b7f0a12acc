package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/display"
	"tunerd/internal/display/text"
	"tunerd/internal/journal"
)

func newJournalShowCommand(path *string) *cobra.Command {
	var o listingOptions
	cmd := &cobra.Command{
		Use:   "show SESSION",
		Short: "Show a session with its readings",
		Long: `Show a session with its readings. SESSION is its number, or "last". With --json it is written as
"tunerd journal export" does.`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJournalShow(cmd.Context(), *path, cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runJournalShow(ctx context.Context, path string, out, chat io.Writer, name string, o listingOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	return withJournal(path, chat, func(j *journal.Journal) error {
		id, err := sessionNumber(ctx, j, name)
		if err != nil {
			return err
		}
		if o.json {
			return j.Export(ctx, out, nil, id)
		}
		s, err := j.Session(ctx, id)
		if err != nil {
			return err
		}
		readings, err := j.Readings(ctx, id)
		if err != nil {
			return err
		}
		if o.plain() {
			writeSession(out, s)
		}
		return o.write(out, readingList(readings, o.plain()))
	})
}

// sessionNumber reads the number of a session, or finds the last one.
func sessionNumber(ctx context.Context, j *journal.Journal, name string) (int64, error) {
	if name == "last" {
		list, err := j.Sessions(ctx, journal.Filter{Last: 1})
		if err != nil {
			return 0, err
		}
		if len(list) == 0 {
			return 0, errors.New("the journal has no session")
		}
		return list[0].ID, nil
	}
	id, err := strconv.ParseInt(name, 10, 64)
	if err != nil || id < 1 {
		return 0, hintf(usagef("%q is no number of a session", name), `"tunerd journal list" has the numbers; last is the newest`)
	}
	return id, nil
}

// writeSession writes what is known of a session beside its readings.
func writeSession(out io.Writer, s *journal.Session) {
	ended := "broken off"
	if !s.Ended.IsZero() {
		ended = "to " + s.Ended.Local().Format("2006-01-02 15:04:05")
	}
	fmt.Fprintf(out, "session %d, %s: %s %s\n", s.ID, text.Clean(s.Kind), s.Started.Local().Format("2006-01-02 15:04:05"), ended)
	var strung []string
	for _, str := range s.Strings {
		words := fmt.Sprintf("%d %s", str.Number, str.Label)
		if str.GaugeMM > 0 {
			words += fmt.Sprintf(" %g mm", str.GaugeMM)
		}
		strung = append(strung, strings.TrimSpace(words+" "+str.Material))
	}
	input := s.Input
	if input != "" {
		input += fmt.Sprintf(", %d Hz", s.RateHz)
	}
	for _, line := range []struct{ title, text string }{
		{"instrument", s.Instrument}, {"known as", s.Identity}, {"tuning", strings.Trim(s.Tuning+", "+s.Reference, ", ")}, {"strings", strings.Join(strung, "; ")},
		{"plan", s.Plan}, {"input", input}, {"corrected", display.Clock(s.Clock).String()}, {"program", s.Program}, {"note", s.Note},
	} {
		if line.text != "" {
			fmt.Fprintf(out, "%-10s  %s\n", line.title, text.Clean(line.text))
		}
	}
}

// readingList lists readings; for a person the figures have the digits that they deserve.
func readingList(readings []journal.Reading, person bool) *text.Listing {
	l := &text.Listing{Type: "reading", Columns: []text.Column{
		{Name: "t_s", Title: "s", Decimals: 2}, {Name: "file", Title: "file"}, {Name: "string", Title: "string"}, {Name: "fret", Title: "fret"},
		{Name: "harmonic", Title: "harmonic"}, {Name: "label", Title: "note"}, {Name: "target_hz", Title: "target Hz", Decimals: 3},
		{Name: "f1_hz", Title: "measured Hz", Decimals: 3}, {Name: "cents", Title: "cents", Decimals: 3, Signed: true},
		{Name: "f1_sigma_cents", Title: "±", Decimals: 3, Sigma: true}, {Name: "attack_f1_hz", Title: "attack Hz", Decimals: 2},
		{Name: "inharmonicity", Title: "inharm. B", Decimals: 6}, {Name: "snr_db", Title: "snr dB"},
		{Name: "mark", Title: "mark"},
	}}
	for i := range readings {
		r := &readings[i]
		cents, sigma := any(r.Cents), any(r.SigmaCents)
		if person {
			cents, sigma = display.Cents(r.Cents, r.SigmaCents), display.Sigma(r.SigmaCents)
		}
		fret := any(r.Fret)
		if r.String == 0 {
			fret = nil
		}
		l.Rows = append(l.Rows, []any{r.TimeS, r.File, stringOrAll(r.String), fret, stringOrAll(r.Harmonic), r.Label, r.TargetHz,
			r.F1Hz, cents, sigma, r.AttackF1Hz, r.B, r.SNRdB, r.Mark})
	}
	return l
}
