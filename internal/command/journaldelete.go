package command

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/journal"
)

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
