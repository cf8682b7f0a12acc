package command

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/targets"
)

type journalNoteOptions struct {
	instrument string
	newStrings bool
	str        int
	at         timeFlag
}

func newJournalNoteCommand(path *string) *cobra.Command {
	var o journalNoteOptions
	cmd := &cobra.Command{
		Use:   "note [SESSION] [TEXT]",
		Short: "Put a remark on a session, or note an event such as a change of strings",
		Long: `Put a remark on a session in place of the one it had. With --instrument, note what happened to an
instrument instead: a change of strings (--new-strings), or anything else. The instrument is a
built-in, a file, or one that "tunerd journal list" shows.`,
		Example: `  tunerd journal note last "after the truss rod was turned"
  tunerd journal note --instrument guitar-12edo --new-strings "a lighter set"
  tunerd journal note --instrument guitar-12edo --new-strings --string 3 \
      --at "2026-01-31 18:00"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJournalNote(cmd.Context(), *path, cmd.ErrOrStderr(), args, o)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&o.instrument, "instrument", "", "note an event of the instrument `NAME`")
	fs.BoolVar(&o.newStrings, "new-strings", false, "strings were changed: all, or that of --string")
	fs.IntVar(&o.str, "string", 0, "it happened to string `N` only")
	fs.Var(&o.at, "at", "`TIME` of the event (default: now)")
	return cmd
}

func runJournalNote(ctx context.Context, path string, chat io.Writer, args []string, o journalNoteOptions) error {
	if o.instrument != "" {
		return noteEvent(ctx, path, chat, strings.Join(args, " "), o)
	}
	switch {
	case o.newStrings || o.str != 0 || !o.at.t.IsZero():
		return usagef("--new-strings, --string and --at tell of an instrument; name it with --instrument")
	case len(args) < 2:
		return hintf(usagef("a session and a remark are needed"), `for example: tunerd journal note last "new bridge"`)
	}
	return withJournal(path, chat, func(j *journal.Journal) error {
		id, err := sessionNumber(ctx, j, args[0])
		if err != nil {
			return err
		}
		return j.Note(ctx, id, strings.Join(args[1:], " "))
	})
}

func noteEvent(ctx context.Context, path string, chat io.Writer, remark string, o journalNoteOptions) error {
	kind := journal.Remark
	switch {
	case o.newStrings:
		kind = journal.NewStrings
	case remark == "":
		return usagef("what happened? give a remark, or --new-strings")
	}
	j, err := sqlite.Open(path)
	if err != nil {
		return err
	}
	defer j.Close()
	in, err := instrumentToNote(ctx, j, o.instrument)
	if err != nil {
		return err
	}
	if n := in.Strings; o.str < 0 || n > 0 && o.str > n {
		return usagef("string %d does not exist: %s has strings 1 to %d", o.str, o.instrument, n)
	}
	id, err := j.AddEvent(ctx, journal.Event{At: o.at.t, Instrument: in.Name, Identity: in.Identity, String: o.str, Kind: kind, Text: remark})
	if err == nil {
		fmt.Fprintf(chat, "tunerd: noted as event %s\n", eventName(id))
	}
	return err
}

// instrumentToNote is the instrument that the user names, which must be known by its file or by the
// journal.
func instrumentToNote(ctx context.Context, j *journal.Journal, name string) (journal.Instrument, error) {
	in, loadErr := targets.LoadInstrument(name)
	if loadErr == nil {
		return journal.Instrument{Name: journalName(in.ID), Identity: in.Identity(), Strings: len(in.Strings)}, nil
	}
	found, err := inJournal(ctx, j, name)
	if err != nil {
		return journal.Instrument{}, err
	}
	if len(found) == 0 {
		return journal.Instrument{}, hintf(usagef("%s is neither an instrument nor in the journal: %w", name, loadErr), `"tunerd instrument list" has the built-in ones, "tunerd journal list" those of all sessions`)
	}
	return found[0], nil
}
