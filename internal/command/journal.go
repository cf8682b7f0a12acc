package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

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
