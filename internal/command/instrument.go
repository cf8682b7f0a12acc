package command

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
	"tunerd/internal/units"
)

func newInstrumentCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "instrument",
		Short: "Make, show and check instruments: strings, frets, tension",
		Args:  usageArgs(cobra.NoArgs),
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newInstrumentListCommand(), newInstrumentShowCommand(), newInstrumentCheckCommand(),
		newInstrumentNewCommand(), newInstrumentStringsCommand(), newInstrumentExportCommand())
	return cmd
}

// instrumentOptions name an instrument, and say in which tuning it is seen.
type instrumentOptions struct {
	tuning    string
	reference string
}

func (o *instrumentOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.tuning, "tuning", "t", "", "see it in another tuning `SPEC`; the frets stay (default: the instrument's)")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440 (default: the instrument's)")
}

// load reads the instrument. All that is wrong with it is wrong usage.
func (o *instrumentOptions) load(name string) (*targets.Instrument, error) {
	p, err := o.plan(name)
	if err != nil {
		return nil, err
	}
	return p.config.Instrument, nil
}

// plan is load with what the instrument's strings are to sound.
func (o *instrumentOptions) plan(name string) (*plan, error) {
	return (&tuningOptions{tuning: o.tuning, reference: o.reference, instrument: name, tolerance: 0.5}).plan()
}

func newInstrumentListCommand() *cobra.Command {
	var o listingOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the built-in instruments",
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(); err != nil {
				return err
			}
			return o.write(cmd.OutOrStdout(), instrumentList(targets.Builtins()))
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func instrumentList(all []*targets.Instrument) *text.Listing {
	l := &text.Listing{Type: "instrument", Columns: []text.Column{
		{Name: "id", Title: "name"}, {Name: "name"}, {Name: "kind", Title: "kind"}, {Name: "strings", Title: "strings"},
		{Name: "tuning", Title: "tuning"}, {Name: "reference"}, {Name: "description", Title: "description"},
	}}
	for _, in := range all {
		l.Rows = append(l.Rows, []any{in.ID, in.Name, in.Kind, len(in.Strings), in.Tuning.String(), in.Tuning.Reference().String(), in.Description})
	}
	return l
}

type instrumentShowOptions struct {
	instrumentOptions
	listingOptions
	units unitsOptions
	svg   outFile
}

func (o *instrumentShowOptions) addFlags(fs *pflag.FlagSet) {
	o.instrumentOptions.addFlags(fs)
	o.listingOptions.addFlags(fs)
	o.units.addFlags(fs)
	addOutFile(fs, &o.svg, "svg", "", "draw the fretboard to `FILE`")
}

func newInstrumentShowCommand() *cobra.Command {
	var o instrumentShowOptions
	cmd := &cobra.Command{
		Use:   "show INSTRUMENT",
		Short: "Show the strings of an instrument: pitch, length, gauge, tension",
		Long: `Show the strings of an instrument, a built-in name or a TOML file: open note, scale length,
gauge, tension, the stress as part of the limit at which its material breaks, where that is
published, and the inharmonicity: the one in the file, or what follows from the string's data. On
wound strings stress and inharmonicity need the diameter of the core (core_mm).`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runInstrumentShow(cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runInstrumentShow(out, chat io.Writer, name string, o instrumentShowOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	system, err := o.units.system()
	if err != nil {
		return err
	}
	in, err := o.load(name)
	if err != nil {
		return err
	}
	if o.svg.given() {
		b, err := fretboard.New(in, fretboard.Options{})
		if err != nil {
			return err
		}
		panel := figure.Panel{Caption: instrumentLine(in)}
		if err := o.svg.writeSVG(chat, figure.DrawBoard(drawnBoard(b), []figure.Panel{panel})); err != nil {
			return err
		}
	}
	beside := chat
	if o.plain() {
		fmt.Fprintf(out, "%s: %s\n", in.Name, instrumentLine(in))
		beside = out
	}
	if err := o.write(out, stringList(in, system)); err != nil {
		return err
	}
	tellParagraphs(beside, []string{tension.Advice})
	return nil
}

func instrumentLine(in *targets.Instrument) string {
	return fmt.Sprintf("%s, %s", in.Tuning, in.Tuning.Reference())
}

func stringList(in *targets.Instrument, u units.System) *text.Listing {
	l := &text.Listing{Type: "string", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "label", Title: "note"}, {Name: "step", Title: "step"},
		{Name: "hz", Title: "Hz", Decimals: 3}, lengthColumn(u, "scale_mm", "scale"),
		lengthColumn(u, "gauge_mm", "gauge"), {Name: "material", Title: "material"},
		{Name: "linear_density_kg_m"}, {Name: "frets", Title: "frets"}, tensionColumn(u, "tension_n", "tension"),
		{Name: "stress_mpa", Title: "stress MPa"}, {Name: "limit_mpa", Title: "breaks at MPa"},
		{Name: "limit_source"}, {Name: "limit_share", Title: "part of limit", Decimals: 2},
		{Name: "core_mm"}, {Name: "inharmonicity", Title: "inharm. B", Decimals: 7},
	}}
	for i := range in.Strings {
		s := &in.Strings[i]
		load := tension.Of(s, s.Open.Hz)
		l.Rows = append(l.Rows, []any{i + 1, s.Open.Label, s.Open.Step, s.Open.Hz, known(s.ScaleLengthMM), known(s.GaugeMM), s.Material,
			tension.LinearDensity(s), len(s.Frets), load.TensionN, load.StressMPa, load.LimitMPa, load.Source, load.Part(),
			known(s.CoreMM), tension.B(s, s.Open.Hz)})
	}
	return l
}

// known is nil for a measure that is 0: not known.
func known(x float64) any {
	if x == 0 {
		return nil
	}
	return x
}

type instrumentCheckOptions struct {
	instrumentOptions
	listingOptions
}

func newInstrumentCheckCommand() *cobra.Command {
	var o instrumentCheckOptions
	cmd := &cobra.Command{
		Use:   "check INSTRUMENT...",
		Short: "Find what is wrong with an instrument before it is built",
		Long: `Find strings out of playable range for their length or beyond 75% of what breaks them, frets
too near to one another, duplicate frets, slots of a fan that are no straight lines, and strings
and frets that are no notes of the tuning. A note says what is worth knowing;
a fault makes the exit status 1.`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runInstrumentCheck(cmd.OutOrStdout(), cmd.ErrOrStderr(), args, o)
		},
	}
	o.instrumentOptions.addFlags(cmd.Flags())
	o.listingOptions.addFlags(cmd.Flags())
	return cmd
}

func runInstrumentCheck(out, chat io.Writer, names []string, o instrumentCheckOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	l := &text.Listing{Type: "finding", Columns: []text.Column{
		{Name: "instrument", Title: "instrument"}, {Name: "string", Title: "string"}, {Name: "fret", Title: "fret"},
		{Name: "level", Title: "level"}, {Name: "kind", Title: "kind"}, {Name: "text", Title: "what"},
	}}
	faults := 0
	for _, name := range names {
		in, err := o.load(name)
		if err != nil {
			return err
		}
		findings := fretboard.Check(in)
		if len(findings) == 0 {
			fmt.Fprintf(chat, "tunerd: %s: no faults found\n", name)
		}
		for _, f := range findings {
			if f.Fault {
				faults++
			}
			if !o.plain() {
				l.Rows = append(l.Rows, []any{name, numberOrNone(f.String), numberOrNone(f.Fret), f.Level(), f.Kind, f.Text})
			}
		}
		if !o.plain() {
			continue
		}
		for _, g := range fretboard.Grouped(findings) {
			l.Rows = append(l.Rows, []any{name, g.StringWords(), g.FretWords(), g.Level(), g.Kind, g.Text})
		}
	}
	if len(l.Rows) > 0 || o.csv {
		if err := o.write(out, l); err != nil {
			return err
		}
	}
	if len(l.Rows) > 0 {
		tellParagraphs(chat, []string{tension.Advice})
	}
	if faults > 0 {
		return fmt.Errorf("faults found: %d; the lines marked fault say what to change", faults)
	}
	return nil
}

// numberOrNone is nil for what concerns all strings, or a whole string.
func numberOrNone(n int) any {
	if n == 0 {
		return nil
	}
	return n
}
