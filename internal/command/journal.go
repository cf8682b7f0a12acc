package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display"
	"tunerd/internal/display/text"
	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/targets"
)

func newJournalCommand(d Deps) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "journal",
		Short: "Past sessions: list, show, drift of the strings, export",
		Long: `Past sessions that were kept (tunerd listen --keep, tunerd measure --keep, tunerd intonation): which
instrument, tuning, device and strings, and every reading with its uncertainty. Sessions have
numbers; events, such as a change of strings, have numbers like e2.`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	addJournalFlag(cmd.PersistentFlags(), &path)
	cmd.AddCommand(newJournalListCommand(&path), newJournalShowCommand(&path), newJournalDriftCommand(&path),
		newJournalNoteCommand(&path), newJournalDeleteCommand(&path), newJournalExportCommand(d, &path), newJournalImportCommand(d, &path),
		newJournalSalvageCommand(&path))
	return cmd
}

// withJournal runs f on the journal at path; without a journal, it says so on chat.
func withJournal(path string, chat io.Writer, f func(*journal.Journal) error) error {
	j, err := sqlite.OpenExisting(path)
	if errors.Is(err, journal.ErrNone) {
		fmt.Fprintln(chat, "tunerd: nothing was kept yet; --keep keeps what tunerd listen and tunerd measure read")
		return nil
	}
	if err == nil {
		defer j.Close()
		err = f(j)
	}
	if errors.Is(err, journal.ErrDamaged) {
		return hintf(err, `"tunerd journal salvage -o saved.jsonl" writes what is intact; move the damaged file away, then "tunerd journal import saved.jsonl"`)
	}
	return err
}

// inJournal returns the names under which the journal knows an instrument that the user names: a built-in,
// a file, or as lists show it. None are found without an error.
func inJournal(ctx context.Context, j *journal.Journal, name string) ([]journal.Instrument, error) {
	asked := journal.Instrument{Name: journalName(name)}
	if in, err := targets.LoadInstrument(name); err == nil {
		asked.Identity = in.Identity()
	}
	return j.Find(ctx, asked)
}

type journalListOptions struct {
	listingOptions
	instrument   string
	kind         string
	since, until timeFlag
	last         int
	events       bool
}

func (o *journalListOptions) addFlags(fs *pflag.FlagSet) {
	o.listingOptions.addFlags(fs)
	fs.StringVar(&o.instrument, "instrument", "", "sessions with the instrument `NAME` only")
	fs.StringVar(&o.kind, "kind", "", "sessions of the command `NAME` only: listen, measure, intonation")
	fs.Var(&o.since, "since", "sessions from this `TIME` on, such as 2026-01-31 or \"2026-01-31 18:00\"")
	fs.Var(&o.until, "until", "sessions before this `TIME`")
	fs.IntVar(&o.last, "last", 20, "the newest `N` only; 0 lists all")
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
	if o.last < 0 {
		return usagef("--last %d is below 0", o.last)
	}
	return withJournal(path, chat, func(j *journal.Journal) error {
		f := journal.Filter{Kind: o.kind, Since: o.since.t, Until: o.until.t, Last: o.last}
		if o.instrument != "" {
			of, err := inJournal(ctx, j, o.instrument)
			if err != nil {
				return err
			}
			if len(of) == 0 {
				return hintf(fmt.Errorf("the journal knows no instrument %s", o.instrument), `"tunerd journal list --last 0" shows the instruments of all sessions`)
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

func eventName(id int64) string { return "e" + strconv.FormatInt(id, 10) }

// stringOrAll is nil for all strings.
func stringOrAll(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// Times are shown in the zone of the user; nil for one that is not known.
func exactTime(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Local().Format("2006-01-02T15:04:05.000Z07:00")
}

func shortTime(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.Local().Format("2006-01-02 15:04")
}

// A timeFlag is a time in the zone of the user.
type timeFlag struct{ t time.Time }

func (f *timeFlag) Type() string { return "TIME" }

func (f *timeFlag) String() string {
	if f.t.IsZero() {
		return ""
	}
	return f.t.Format(time.RFC3339)
}

func (f *timeFlag) Set(s string) (err error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02"} {
		if f.t, err = time.ParseInLocation(layout, s, time.Local); err == nil {
			return nil
		}
	}
	return errors.New(`write a day such as 2026-01-31, or "2026-01-31 18:00"`)
}

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

func newJournalDeleteCommand(path *string) *cobra.Command {
	return &cobra.Command{
		Use:   "delete SESSION|EVENT...",
		Short: "Delete sessions with their readings, and events",
		Long: `Delete sessions with their readings, by number or range, and events. They cannot be brought back,
except from an export.`,
		Example: "  tunerd journal delete 3 7..9 e2",
		Args:    usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			sessions, events, err := numbers(args)
			if err != nil {
				return err
			}
			return withJournal(*path, cmd.ErrOrStderr(), func(j *journal.Journal) error {
				if err := j.Delete(cmd.Context(), sessions, events); err != nil {
					return err
				}
				fmt.Fprintf(cmd.ErrOrStderr(), "tunerd: deleted: %s\n", strings.Join(args, " "))
				return nil
			})
		},
	}
}

// maxRange is the most sessions that one range may name.
const maxRange = 100_000

// numbers reads numbers of sessions, such as 3 or 3..7, and of events, such as e2.
func numbers(words []string) (sessions, events []int64, err error) {
	for _, word := range words {
		if number, isEvent := strings.CutPrefix(word, "e"); isEvent {
			id, err := strconv.ParseInt(number, 10, 64)
			if err != nil || id < 1 {
				return nil, nil, usagef("%q is no event; write e2 for event 2", word)
			}
			events = append(events, id)
			continue
		}
		from, to, isRange := strings.Cut(word, "..")
		if !isRange {
			to = from
		}
		first, err1 := strconv.ParseInt(from, 10, 64)
		last, err2 := strconv.ParseInt(to, 10, 64)
		if err1 != nil || err2 != nil || first < 1 || last < first || last-first >= maxRange {
			return nil, nil, usagef("%q is no number of a session; write 3, or 3..7 for several", word)
		}
		for id := first; id <= last; id++ {
			sessions = append(sessions, id)
		}
	}
	return sessions, events, nil
}
