package command

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/coupling"
	"tunerd/internal/display/text"
	"tunerd/internal/journal/sqlite"
	"tunerd/internal/targets"
	"tunerd/internal/wholefile"
)

func newCouplingCommand(d Deps) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "coupling",
		Short: "How the strings of an instrument pull on each other: learn it, show it",
		Long: `Tighten one string of an instrument with a floating bridge, a banjo, a harp or a long thin neck,
and the others fall. "learn" finds out by how much from recordings of all strings, each made after
one string was turned; "show" prints what is known. With that, "tunerd detune --coupled" says in
which order to turn the strings, and what to tune each to now, so that one pass ends in tune.`,
		Args: knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newCouplingLearnCommand(d), newCouplingShowCommand())
	return cmd
}

// knownOptions say where what is known of coupling lies.
type knownOptions struct{ path string }

func (o *knownOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVar(&o.path, "known", "", "`FILE` of what is known of the instrument's coupling\n(default: in tunerd/coupling in the data folder of the user)")
}

// file is where it lies for an instrument.
func (o *knownOptions) file(in *targets.Instrument) (string, error) {
	if o.path != "" {
		return o.path, nil
	}
	journal, err := sqlite.DefaultPath()
	if err != nil {
		return "", hintf(err, "name a file with --known")
	}
	return filepath.Join(filepath.Dir(journal), "coupling", coupling.FileName(in)), nil
}

// load reads it; nil without an error: nothing is known.
func (o *knownOptions) load(in *targets.Instrument) (*coupling.File, string, error) {
	path, err := o.file(in)
	if err != nil {
		return nil, "", err
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, path, nil
	}
	if err != nil {
		return nil, path, err
	}
	f, err := coupling.DecodeFile(data)
	if err == nil {
		err = f.IsOf(in)
	}
	if err != nil {
		return nil, path, fmt.Errorf("%s: %w", path, err)
	}
	return f, path, nil
}

// need is load where something has to be known.
func (o *knownOptions) need(in *targets.Instrument) (*coupling.File, error) {
	f, path, err := o.load(in)
	if err == nil && f == nil {
		err = hintf(fmt.Errorf("%s: nothing is known of the coupling of %s", path, in.Name), `"tunerd coupling learn" finds it out`)
	}
	return f, err
}

// save keeps what was learned, in place of what load has read: nothing else is ever written over.
func (o *knownOptions) save(in *targets.Instrument, f coupling.File) (string, error) {
	path, err := o.file(in)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", err
	}
	f.Instrument, f.Identity, f.Learned = in.Name, in.Identity(), time.Now().UTC().Format(time.RFC3339)
	data, err := f.Encode()
	if err != nil {
		return "", err
	}
	return path, wholefile.Write(path, data, 0o644)
}

type couplingShowOptions struct {
	known   knownOptions
	listing listingOptions
}

func newCouplingShowCommand() *cobra.Command {
	var o couplingShowOptions
	cmd := &cobra.Command{
		Use:   "show INSTRUMENT",
		Short: "Show who pulls whom: what a string loses for 100 cents more on another",
		Example: `  tunerd coupling show guitar-12edo
  tunerd coupling show guitar-12edo --json`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCouplingShow(cmd.OutOrStdout(), args[0], o)
		},
	}
	o.known.addFlags(cmd.Flags())
	o.listing.addFlags(cmd.Flags())
	return cmd
}

func runCouplingShow(out io.Writer, name string, o couplingShowOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	in, err := targets.LoadInstrument(name)
	if err != nil {
		return usageError{err}
	}
	f, err := o.known.need(in)
	if err != nil {
		return err
	}
	prior, _, err := coupling.OfInstrument(in, f.Known.Support, f.BehindMM)
	if err != nil {
		return err
	}
	l, err := coupling.NewLearner(prior, f.Known)
	if err != nil {
		return err
	}
	if o.listing.plain() {
		until := f.Learned
		if at, err := time.Parse(time.RFC3339, until); err == nil {
			until = at.Local().Format("2006-01-02 15:04")
		}
		fmt.Fprintf(out, "%s: %s, learned in %s until %s\n", in.Name, f.Known.Support, sessions(f.Known.Sessions), until)
		fmt.Fprintln(out, "Cents that a string loses for 100 cents more on another:")
	}
	return o.listing.write(out, losesList(in, l))
}

func sessions(n int) string {
	if n == 1 {
		return "1 session"
	}
	return fmt.Sprintf("%d sessions", n)
}

// losesList is a row a string; its columns are the strings that are turned.
func losesList(in *targets.Instrument, l *coupling.Learner) *text.Listing {
	list := &text.Listing{Type: "coupling", Columns: []text.Column{{Name: "string", Title: "string"}, {Name: "label", Title: "note"}}}
	for i := range in.Strings {
		list.Columns = append(list.Columns, text.Column{
			Name: fmt.Sprintf("loses_by_string_%d", i+1), Title: fmt.Sprintf("by %d", i+1), Decimals: 1,
		})
	}
	for j, row := range l.LosesPer(100) {
		cells := []any{j + 1, in.Strings[j].Open.Label}
		for i, v := range row {
			if i == j {
				cells = append(cells, nil)
			} else {
				cells = append(cells, v)
			}
		}
		list.Rows = append(list.Rows, cells)
	}
	return list
}

// passList is what to turn in which order.
func passList(kind string, in *targets.Instrument, p *coupling.Pass) *text.Listing {
	l := &text.Listing{Type: kind, Columns: []text.Column{
		{Name: "turn", Title: "turn"}, {Name: "string", Title: "string"}, {Name: "label", Title: "note"},
		{Name: "now_hz", Title: "tune to now, Hz", Decimals: 3}, {Name: "now_cents", Title: "against target", Decimals: 1, Signed: true},
		{Name: "after_cents", Title: "ends at", Decimals: 1, Signed: true}, {Name: "after_sigma", Title: "±", Decimals: 1, Sigma: true},
		{Name: "part", Title: ""},
	}}
	for i, s := range p.Steps {
		open := in.Strings[s.String].Open
		l.Rows = append(l.Rows, []any{i + 1, s.String + 1, open.Label, s.Hz(open.Hz), s.NowCents, p.Cents[s.String], p.Sigma[s.String], s.Part})
	}
	return l
}

// tellPass says what the table does not.
func tellPass(out io.Writer, p *coupling.Pass) {
	for _, line := range p.Words() {
		fmt.Fprintln(out, line)
	}
}
