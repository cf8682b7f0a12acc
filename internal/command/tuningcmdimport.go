package command

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"tunerd/internal/display/text"
	"tunerd/internal/mts"
)

type tuningImportOptions struct {
	listing listingOptions
	as      string
	output  outFile
}

func newTuningImportCommand() *cobra.Command {
	var o tuningImportOptions
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Read messages of the MIDI Tuning Standard",
		Long: `Read the tuning messages of a file, or of standard input for -, and print the pitches that the
128 keys have after them. FILE holds system exclusive bytes, a standard MIDI file, or such bytes
as hexadecimal text. With --as toml, json or csv they become a tuning file, if the keys repeat
at some interval. Tuning files need no import: name them where a SPEC is asked for.`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runTuningImport(cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	fs := cmd.Flags()
	o.listing.addFlags(fs)
	fs.StringVar(&o.as, "as", "", "write a tuning file of this `FORM`: toml, json or csv")
	addOutFile(fs, &o.output, "output", "o", "with --as: write to this `FILE` instead of standard output")
	return cmd
}

func runTuningImport(in io.Reader, out, chat io.Writer, path string, o tuningImportOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	switch o.as {
	case "", "toml", "json", "csv":
	default:
		return usagef("--as %s is unknown; write toml, json or csv", o.as)
	}
	data, err := readLimited(in, path)
	if err != nil {
		return err
	}
	messages, err := mts.ReadMessages(data)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	keys := mts.EqualKeys()
	for _, m := range messages {
		keys.Apply(m)
	}
	if o.as == "" {
		return o.listing.write(out, keyListing(keys.Rows()))
	}
	t, err := keys.Tuning()
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	file, err := tuningFile(t, o.as)
	if err != nil {
		return err
	}
	if o.output.given() {
		return o.output.write(chat, file)
	}
	_, err = out.Write(file)
	return err
}

func keyListing(rows []mts.KeyRow) *text.Listing {
	l := &text.Listing{Type: "key", Columns: []text.Column{
		{Name: "key", Title: "key"},
		{Name: "hz", Title: "Hz", Decimals: 3},
		{Name: "cents_from_equal", Title: "cents from equal", Decimals: 3, Signed: true},
	}}
	for _, r := range rows {
		l.Rows = append(l.Rows, []any{r.Key, r.Hz, r.Cents})
	}
	return l
}
