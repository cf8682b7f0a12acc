package command

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/text"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
	"tunerd/internal/units"
)

type instrumentStringsOptions struct {
	instrumentOptions
	listingOptions
	tension  string
	material string
	str      int
	units    unitsOptions
}

func (o *instrumentStringsOptions) addFlags(fs *pflag.FlagSet) {
	o.instrumentOptions.addFlags(fs)
	o.listingOptions.addFlags(fs)
	fs.StringVar(&o.tension, "tension", "", "`TENSION` wanted of each string, such as 80N, 8kgf or 18lbf")
	fs.StringVar(&o.material, "material", "", "`MATERIAL`: steel, stainless steel, phosphor bronze, nickel wound\nsteel, nylon, fluorocarbon, gut (default: that in the file, or steel)")
	fs.IntVar(&o.str, "string", 0, "only string `N` (default: all)")
	o.units.addFlags(fs)
}

func newInstrumentStringsCommand() *cobra.Command {
	var o instrumentStringsOptions
	cmd := &cobra.Command{
		Use:   "strings INSTRUMENT",
		Short: "Propose gauges for a wanted tension",
		Long: `Propose for each string the gauge that has a wanted tension at its pitch and
length: a plain one, or from about .020 in up one wound on a core. It tells the
tension that this gauge has, its part of the limit at which the material breaks,
and its stiffness, the inharmonicity B; of a wound string B is a lower bound. A
string that no gauge can make is told, with what would help.`,
		Example: `  tunerd instrument strings mine.toml --tension 80N
  tunerd instrument strings mine.toml --tension 18lbf --units in,lbf
  tunerd instrument strings ukulele-12edo --tension 40N --material fluorocarbon`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runInstrumentStrings(cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runInstrumentStrings(out, chat io.Writer, name string, o instrumentStringsOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	system, err := o.units.system()
	if err != nil {
		return err
	}
	if o.tension == "" {
		return usagef("--tension is needed: the tension wanted of each string, such as 80N, 8kgf or 18lbf")
	}
	newtons, err := system.NOf(o.tension)
	if err != nil {
		return usagef("--tension: %w", err)
	}
	in, err := o.load(name)
	if err != nil {
		return err
	}
	if o.str < 0 || o.str > len(in.Strings) {
		return usagef("--string %d: %s has strings 1 to %d", o.str, in.Name, len(in.Strings))
	}
	var all []tension.Proposal
	for i := range in.Strings {
		if o.str > 0 && o.str != i+1 {
			continue
		}
		p, err := o.propose(&in.Strings[i], newtons)
		if err != nil {
			return usagef("string %d: %w", i+1, err)
		}
		all = append(all, p)
	}
	beside := chat
	if o.plain() {
		fmt.Fprintf(out, "%s: %s\n", in.Name, instrumentLine(in))
		beside = out
	}
	if err := o.write(out, proposalList(all, system)); err != nil {
		return err
	}
	for _, p := range all {
		if p.Why != "" {
			tellParagraphs(beside, []string{fmt.Sprintf("string %d (%s): %s", p.Open.String, p.Open.Label, p.Why)})
		}
	}
	for _, why := range tension.NotKnown(all) {
		tellParagraphs(beside, []string{why})
	}
	tellParagraphs(beside, []string{tension.Advice})
	return nil
}

// propose takes the material of the flag, else that of the string, else steel.
func (o *instrumentStringsOptions) propose(s *targets.InstrumentString, newtons float64) (tension.Proposal, error) {
	words := o.material
	if words == "" {
		words = s.Material
	}
	m, err := targets.ParseMaterial(words)
	if err != nil {
		return tension.Proposal{}, err
	}
	if m.Core == "" {
		m.Core = targets.Steel
	}
	return tension.Propose(s, newtons, m)
}

func proposalList(all []tension.Proposal, s units.System) *text.Listing {
	l := &text.Listing{Type: "string_proposal", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "label", Title: "note"},
		lengthColumn(s, "gauge_mm", "gauge"), lengthColumn(s, "core_mm", "core"),
		{Name: "material"}, {Name: "kind", Title: "kind"},
		tensionColumn(s, "tension_n", "tension"), {Name: "limit_share", Title: "part of limit", Decimals: 2},
		{Name: "inharmonicity", Title: "B", Decimals: 6},
		{Name: "linear_density_kg_m"}, {Name: "wanted_kg_m"}, {Name: "limit_source"}, {Name: "why"},
	}}
	for _, p := range all {
		var kind string
		switch {
		case p.Why != "":
			kind = "none"
		case p.CoreMM > 0:
			kind = "wound"
		default:
			kind = "plain"
		}
		l.Rows = append(l.Rows, []any{p.Open.String, p.Open.Label, known(p.GaugeMM), known(p.CoreMM), p.Material, kind,
			p.Load.TensionN, p.Load.Part(), p.Load.B, tension.LinearDensity(&p.InstrumentString), p.WantedKgM, p.Load.Source, p.Why})
	}
	return l
}

// lengthColumn is a column of diameters or lengths in mm that a table shows in the unit of the user.
func lengthColumn(s units.System, name, title string) text.Column {
	c := text.Column{Name: name, Title: title + " " + string(s.Length), Decimals: 3, Per: 1 / s.FromMM(1)}
	if s.Length == units.Inch {
		c.Decimals = 4
	}
	return c
}

// tensionColumn is one of tensions in N.
func tensionColumn(s units.System, name, title string) text.Column {
	return text.Column{Name: name, Title: title + " " + string(s.Tension), Decimals: 1, Per: 1 / s.FromN(1)}
}
