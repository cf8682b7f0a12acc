package command

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/setup"
	"tunerd/internal/setup/report"
	"tunerd/internal/setup/report/html"
	"tunerd/internal/setup/report/pdf"
)

// reportOptions say in which forms the outcome of a check is written.
type reportOptions struct {
	listing listingOptions
	html    outFile
	pdf     outFile
	svg     outFile
	paper   string
	before  string
	relief  reliefFlag
}

// reliefFlag is what the neck was measured to be bowed by, if it was.
type reliefFlag struct{ mm *float64 }

func (f *reliefFlag) Type() string { return "MM" }

func (f *reliefFlag) String() string {
	if f.mm == nil {
		return ""
	}
	return strconv.FormatFloat(*f.mm, 'g', -1, 64)
}

func (f *reliefFlag) Set(text string) error {
	mm, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return fmt.Errorf("%q is no number of mm", text)
	}
	f.mm = &mm
	return nil
}

// use takes the relief into the model of a check.
func (f *reliefFlag) use(c *setup.Check) error {
	if f.mm == nil {
		return nil
	}
	c.Settings.Model = c.Settings.Model.WithRelief(*f.mm)
	if err := c.Settings.Validate(); err != nil {
		return usageError{err}
	}
	return nil
}

func (o *reportOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.listing.json, "json", false, "print everything as one JSON object")
	fs.BoolVar(&o.listing.csv, "csv", false, "print every pluck as comma-separated values with a header")
	addOutFile(fs, &o.html, "html", "", "write the report to `FILE`, one page that needs no other")
	addOutFile(fs, &o.pdf, "pdf", "", "write the report to `FILE`")
	addOutFile(fs, &o.svg, "svg", "", "draw the map of the board to `FILE`")
	fs.StringVar(&o.paper, "paper", "a4", "`NAME` of the paper of --pdf, a4 or letter")
	fs.StringVar(&o.before, "before", "", "compare with an earlier check, kept in `FILE`")
	fs.Var(&o.relief, "relief", fmt.Sprintf("the neck is bowed by `MM`, as a straightedge on the frets shows (not known: %g ± %g)",
		setup.UsualModel.ReliefMM, setup.UsualModel.ReliefSigma))
}

func (o *reportOptions) check() error {
	if _, err := figure.ParsePaper(o.paper); err != nil {
		return usageError{err}
	}
	return o.listing.check()
}

func (o *reportOptions) loadBefore() (*setup.Check, error) {
	if o.before == "" {
		return nil, nil
	}
	return setup.Load(o.before)
}

func (o *reportOptions) write(out, chat io.Writer, r *report.Report) error {
	if err := o.writeFiles(chat, r); err != nil {
		return err
	}
	switch {
	case o.listing.json:
		return r.WriteJSON(out)
	case o.listing.csv:
		return r.WriteCSV(out)
	}
	return r.WriteText(out)
}

func (o *reportOptions) writeFiles(chat io.Writer, r *report.Report) error {
	paper, err := figure.ParsePaper(o.paper)
	if err != nil {
		return usageError{err}
	}
	for _, file := range []struct {
		to    *outFile
		write func(io.Writer) error
	}{
		{&o.html, func(w io.Writer) error { return html.Write(w, r) }},
		{&o.pdf, func(w io.Writer) error { return pdf.Write(w, r, paper) }},
		{&o.svg, func(w io.Writer) error {
			_, err := r.Map().Canvas().WriteTo(w)
			return err
		}},
	} {
		if !file.to.given() {
			continue
		}
		if err := file.to.writeFrom(chat, file.write); err != nil {
			return err
		}
	}
	return nil
}

func newIntonationReportCommand() *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report CHECK.json",
		Short: "Write the report of a check that was kept",
		Args:  usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.check(); err != nil {
				return err
			}
			check, err := setup.Load(args[0])
			if err != nil {
				return err
			}
			if err := o.relief.use(check); err != nil {
				return err
			}
			before, err := o.loadBefore()
			if err != nil {
				return err
			}
			r, err := report.New(check, before)
			if err != nil {
				return err
			}
			return o.write(cmd.OutOrStdout(), cmd.ErrOrStderr(), r)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

type intonationPlanOptions struct {
	name       string
	instrument instrumentOptions
	plan       planOptions
	listing    listingOptions
}

func newIntonationPlanCommand() *cobra.Command {
	var o intonationPlanOptions
	cmd := &cobra.Command{
		Use:   "plan INSTRUMENT",
		Short: "Show which notes a check asks for, why, and what it will tell",
		Args:  usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := takeName(&o.name, args); err != nil {
				return err
			}
			return runIntonationPlan(cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	addNameFlag(cmd.Flags(), &o.name)
	o.instrument.addFlags(cmd.Flags())
	o.plan.addFlags(cmd.Flags())
	o.listing.addFlags(cmd.Flags())
	return cmd
}

func runIntonationPlan(out, chat io.Writer, o intonationPlanOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	_, board, err := loadBoard(o.name, &o.instrument)
	if err != nil {
		return err
	}
	plan, err := o.plan.make(board, setup.UsualSettings.Plucks)
	if err != nil {
		return err
	}
	if o.listing.plain() {
		for _, words := range plan.Words {
			fmt.Fprintln(chat, words)
		}
		for _, e := range plan.Expected {
			fmt.Fprintf(chat, "string %d: nut to ±%.2f mm, saddle to ±%.2f mm, a fret to %s (one standard error)\n", e.Number, e.NutMM, e.SaddleMM, orNot(e.FretMM))
		}
	}
	l := &text.Listing{Type: "step", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "fret", Title: "fret"}, {Name: "harmonic", Title: "harmonic"},
		{Name: "label", Title: "note"}, {Name: "hz", Title: "Hz", Decimals: 2}, {Name: "why", Title: "what for"},
	}}
	for _, s := range plan.Steps {
		row := []any{s.String, s.Fret, nil, board.Label(s.Note), board.Hz(s.Note), s.Why}
		if s.Harmonic > 0 {
			row[1], row[2] = nil, s.Harmonic
		}
		l.Rows = append(l.Rows, row)
	}
	return o.listing.write(out, l)
}

// orNot writes a standard error, or says that there is none.
func orNot(mm float64) string {
	if mm == 0 {
		return "no telling"
	}
	return fmt.Sprintf("±%.2f mm", mm)
}

// now is the present for people.
func now() string { return time.Now().Format("2006-01-02 15:04") }

func isNotExist(err error) bool { return errors.Is(err, fs.ErrNotExist) }
