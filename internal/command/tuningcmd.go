package command

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tunerd/internal/display/text"
	"tunerd/internal/targets"
)

func newTuningCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "tuning",
		Short: "Make, show, compare and exchange tunings",
		Long: `Show, compare and exchange tunings. A SPEC is one of

  12edo, 41edo               equal steps of the octave; 31 is 31edo
  13ed3, 9ed3/2              equal steps of 3/1, of 3/2
  4:5:6:7                    a chord of whole-number ratios
  1/1 9/8 24of41edo 5/4-10c  ratios, steps of a division, cents and their sums
  harmonics 8..16            a segment of the harmonics; also subharmonics 8..16
  products 2 of 1 3 5 7      the product of every two of these factors
  vallotti                   a published temperament: "tunerd tuning list"
  mine.toml                  a tuning file; also .json and .csv

All but the divisions and temperaments repeat at the octave unless "repeat 3/1" follows;
"rotate 3" at the end makes note 3 the new 1/1.`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newTuningNewCommand(), newTuningListCommand(), newTuningShowCommand(), newTuningCompareCommand(), newTuningExportCommand(), newTuningImportCommand())
	return cmd
}

// readTuning reads a spec and anchors it where reference says, if that is given.
func readTuning(spec, reference string) (*targets.Tuning, error) {
	t, err := targets.ParseTuning(spec)
	if err != nil || reference == "" {
		return t, usageOf(err)
	}
	r, err := targets.ParseReference(reference)
	if err != nil {
		return nil, usageOf(err)
	}
	t, err = t.WithReference(r)
	return t, usageOf(err)
}

// tellRepeat says of --tuning what tellBeyond does, once for every command that has it. What is wrong with
// the tuning says the command itself.
func tellRepeat(cmd *cobra.Command) {
	flag := cmd.Flags().Lookup("tuning")
	if flag == nil || flag.Value.String() == "" {
		return
	}
	if t, err := targets.ParseTuning(flag.Value.String()); err == nil {
		tellBeyond(cmd.ErrOrStderr(), t)
	}
}

// tellBeyond says at which interval a tuning repeats that has notes beyond it and does not say so.
func tellBeyond(chat io.Writer, t *targets.Tuning) {
	if words := t.RepeatWords(); words != "" {
		fmt.Fprintf(chat, "tunerd: %s\n", words)
	}
}

func usageOf(err error) error {
	if err == nil {
		return nil
	}
	return usageError{err}
}

func newTuningListCommand() *cobra.Command {
	var o listingOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the published temperaments known by name",
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runTuningList(cmd.OutOrStdout(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runTuningList(out io.Writer, o listingOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	l := text.Listing{Type: "temperament", Columns: []text.Column{{Name: "spec", Title: "spec"}, {Name: "about", Title: "construction"}}}
	for _, name := range targets.Temperaments() {
		l.Rows = append(l.Rows, []any{name, targets.TemperamentAbout(name)})
	}
	return o.write(out, &l)
}
