package command

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/strict"
	"tunerd/internal/units"
	"tunerd/internal/wholefile"
)

// unitsOptions say in which units a person reads and writes lengths and tensions.
type unitsOptions struct{ text string }

func (o *unitsOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVar(&o.text, "units", "", "`UNITS` of lengths and tensions: "+units.Help+"\n(default: as \"tunerd units\" keeps them)")
}

// system is what the flag says, else what the user has said once, else metric.
func (o *unitsOptions) system() (units.System, error) {
	kept, err := keptUnits()
	if err != nil || o.text == "" {
		return kept, err
	}
	s, err := kept.Parse(o.text)
	return s, usageOf(err)
}

// keptUnits reads what the user has said once.
func keptUnits() (units.System, error) {
	path, err := unitsPath()
	if err != nil {
		return units.Metric, nil // there is no place where any could be kept
	}
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return units.Metric, nil
	case err != nil:
		return units.Metric, err
	case len(data) > strict.MaxBytes:
		return units.Metric, fmt.Errorf("%s is too long to be a choice of units", path)
	}
	s, err := units.Metric.Parse(string(trimLine(data)))
	if err != nil {
		return s, hintf(fmt.Errorf("%s: %w", path, err), `"tunerd units mm,N" writes it anew`)
	}
	return s, nil
}

func trimLine(data []byte) []byte {
	for len(data) > 0 && (data[len(data)-1] == '\n' || data[len(data)-1] == '\r') {
		data = data[:len(data)-1]
	}
	return data
}

// unitsPath is where the choice of the user lies: in the configuration folder of the system.
func unitsPath() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("no place to keep units: %w", err)
	}
	return filepath.Join(dir, "tunerd", "units"), nil
}

func newUnitsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "units [UNITS]",
		Short: "Show or choose the units of lengths and tensions",
		Long: `Choose the units in which lengths, gauges and tensions are read and shown:
` + units.Help + `. Without UNITS it shows them. Files have mm
and N, whatever is chosen.`,
		Example: "  tunerd units in,lbf\n  tunerd units kgf",
		Args:    usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runUnits(cmd.OutOrStdout(), cmd.ErrOrStderr(), args)
		},
	}
}

func runUnits(out, chat io.Writer, args []string) error {
	path, err := unitsPath()
	if err != nil {
		return err
	}
	s, err := keptUnits()
	if len(args) == 0 {
		if err == nil {
			fmt.Fprintln(out, s)
		}
		return err
	}
	if err != nil { // what is kept cannot be read, and is about to be replaced
		s = units.Metric
	}
	if s, err = s.Parse(args[0]); err != nil {
		return usageOf(err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	if err := wholefile.Write(path, []byte(s.String()+"\n"), 0o600); err != nil {
		return err
	}
	fmt.Fprintf(chat, "tunerd: units from now on: %s\n", s)
	return nil
}
