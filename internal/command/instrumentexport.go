package command

import (
	"io"

	"github.com/spf13/cobra"

	"tunerd/internal/targets"
)

func newInstrumentExportCommand() *cobra.Command {
	var output outFile
	cmd := &cobra.Command{
		Use:   "export INSTRUMENT",
		Short: "Print the TOML file of an instrument, to start one of your own from",
		Example: `  tunerd instrument export guitar-12edo --output mine.toml
  tunerd instrument show mine.toml`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runInstrumentExport(cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], &output)
		},
	}
	addOutFile(cmd.Flags(), &output, "output", "o", "write to this `FILE` instead of standard output")
	return cmd
}

func runInstrumentExport(out, chat io.Writer, name string, output *outFile) error {
	data, err := targets.ReadInstrumentBytes(name)
	if err != nil {
		return usageOf(err)
	}
	if output.given() {
		return output.write(chat, data)
	}
	_, err = out.Write(data)
	return err
}
