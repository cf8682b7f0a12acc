package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"

	"github.com/spf13/cobra"

	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
)

func newJournalExportCommand(d Deps, path *string) *cobra.Command {
	var output outFile
	cmd := &cobra.Command{
		Use:   "export [SESSION...]",
		Short: "Write sessions as JSON Lines: all of them and the events, or those named",
		Long: `Write sessions with their readings as JSON Lines: all of them and the events, or those named. The
journal is checked before; of a damaged one nothing is written, and "tunerd journal salvage" writes
what is intact.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return withJournal(*path, cmd.ErrOrStderr(), func(j *journal.Journal) error {
				return exportJournal(cmd.Context(), d, j, cmd.OutOrStdout(), cmd.ErrOrStderr(), &output, args)
			})
		},
	}
	addOutFile(cmd.Flags(), &output, "output", "o", "write to this `FILE` instead of standard output")
	return cmd
}

func exportJournal(ctx context.Context, d Deps, j *journal.Journal, out, chat io.Writer, file *outFile, sessions []string) error {
	ids, events, err := numbers(sessions)
	if err != nil {
		return err
	}
	if len(events) > 0 {
		return usagef("%s is an event; events are exported with the whole journal", eventName(events[0]))
	}
	progress, end := showProgress(d, chat)
	defer end()
	if !file.given() {
		return j.Export(ctx, out, progress, ids...)
	}
	// A file is made only when there is something to write into it.
	damage, err := j.Check(ctx, journal.Filter{IDs: ids})
	if err == nil {
		err = damage.Err()
	}
	if err != nil {
		return err
	}
	return file.writeFrom(chat, func(w io.Writer) error { return j.Export(ctx, w, progress, ids...) })
}

// showProgress returns what a long work tells how far it has come, and what ends its showing.
func showProgress(d Deps, chat io.Writer) (tell journal.Progress, end func()) {
	if !d.ErrTerminal() {
		return nil, func() {}
	}
	var thousandths atomic.Int64
	bar := startProgress(chat, func() float64 { return float64(thousandths.Load()) / 1000 })
	return func(part float64) { thousandths.Store(int64(1000 * part)) }, bar.end
}

func newJournalImportCommand(d Deps, path *string) *cobra.Command {
	return &cobra.Command{
		Use:   "import FILE...",
		Short: "Read what export wrote into the journal",
		Long: `Read what "tunerd journal export" wrote, here or on another computer, into the journal; - is
standard input. What is there already stays as it is. If a line is wrong, or says what cannot be, such
as a frequency below 0, nothing of its file is taken.`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runJournalImport(cmd.Context(), d, *path, cmd.InOrStdin(), cmd.ErrOrStderr(), args)
		},
	}
}

func runJournalImport(ctx context.Context, d Deps, path string, in io.Reader, chat io.Writer, files []string) error {
	j, err := sqlite.Open(path)
	if err != nil {
		return err
	}
	defer j.Close()
	for _, file := range files {
		n, err := importFile(ctx, d, j, in, chat, file)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		fmt.Fprintf(chat, "tunerd: %s: new: sessions %d, readings %d, events %d; there already: %d\n",
			file, n.Sessions, n.Readings, n.Events, n.Known)
	}
	return nil
}

func importFile(ctx context.Context, d Deps, j *journal.Journal, in io.Reader, chat io.Writer, file string) (journal.Imported, error) {
	if file == "-" {
		return j.Import(ctx, in, 0, nil)
	}
	f, err := os.Open(file)
	if err != nil {
		return journal.Imported{}, errors.Unwrap(err) // without the name, which the caller tells
	}
	defer f.Close()
	size := int64(0)
	if info, err := f.Stat(); err == nil {
		size = info.Size()
	}
	progress, end := showProgress(d, chat)
	defer end()
	return j.Import(ctx, f, size, progress)
}

func newJournalSalvageCommand(path *string) *cobra.Command {
	var output outFile
	cmd := &cobra.Command{
		Use:   "salvage",
		Short: "Write what is intact of a damaged journal as JSON Lines",
		Long: `Write what is intact of a damaged journal, in the form of "tunerd journal export". Every page of the
file is read for itself, so that what stands on a damaged one is lost and nothing else. The journal
is left as it is: move it away, and import what was saved.`,
		Example: `  tunerd journal salvage -o saved.jsonl
  mv ~/.local/share/tunerd/journal.db damaged.db
  tunerd journal import saved.jsonl`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runJournalSalvage(*path, cmd.OutOrStdout(), cmd.ErrOrStderr(), &output)
		},
	}
	addOutFile(cmd.Flags(), &output, "output", "o", "write to this `FILE` instead of standard output")
	return cmd
}

func runJournalSalvage(path string, out, chat io.Writer, file *outFile) error {
	var s sqlite.Salvaged
	write := func(w io.Writer) (err error) {
		s, err = sqlite.Salvage(path, w)
		return err
	}
	var err error
	if !file.given() {
		err = write(out)
	} else {
		err = file.writeFrom(chat, write)
	}
	if err != nil {
		return err
	}
	said := []string{fmt.Sprintf("sessions %d, readings %d, events %d", s.Sessions, s.Readings, s.Events)}
	if s.Missing > 0 {
		said = append(said, fmt.Sprintf("readings missing of these sessions: %d", s.Missing))
	}
	if s.Partly > 0 {
		said = append(said, fmt.Sprintf("sessions without their strings and data: %d", s.Partly))
	}
	if s.Bare > 0 {
		said = append(said, fmt.Sprintf("sessions of which only readings are left: %d", s.Bare))
	}
	fmt.Fprintf(chat, "tunerd: salvaged: %s\n", strings.Join(said, "; "))
	return nil
}
