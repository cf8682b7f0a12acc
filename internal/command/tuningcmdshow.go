package command

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"tunerd/internal/display"
	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/targets"
)

type tuningShowOptions struct {
	listing   listingOptions
	reference string
	oddLimit  int
	svg       outFile
}

func newTuningShowCommand() *cobra.Command {
	o := tuningShowOptions{oddLimit: targets.DefaultOddLimit}
	cmd := &cobra.Command{
		Use:   "show SPEC",
		Short: "Print the notes of a tuning with the simple ratios they stand for",
		Long: `Print the notes of a tuning from its reference note to the note at which it repeats: step,
label, cents and Hz, the nearest simple ratio with the note's distance from it, and the beats
a second that the note makes with the reference note where partials of that ratio coincide.
"tunerd tuning --help" says what a SPEC is; it may be several words.`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runTuningShow(cmd.OutOrStdout(), cmd.ErrOrStderr(), strings.Join(args, " "), o)
		},
	}
	fs := cmd.Flags()
	o.listing.addFlags(fs)
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440 or C4=261.6")
	fs.IntVar(&o.oddLimit, "odd-limit", o.oddLimit, "odd `LIMIT` of the simple ratios")
	addOutFile(fs, &o.svg, "svg", "", "also draw the tuning as a ring into this `FILE`")
	return cmd
}

func runTuningShow(out, chat io.Writer, spec string, o tuningShowOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	if o.oddLimit < 1 || o.oddLimit > targets.MaxOddLimit {
		return usagef("--odd-limit %d is not within 1 to %d", o.oddLimit, targets.MaxOddLimit)
	}
	t, err := readTuning(spec, o.reference)
	if err != nil {
		return err
	}
	tellBeyond(chat, t)
	period, n := t.Period()
	rows := t.Rows(0, n, o.oddLimit)
	if o.svg.given() {
		if err := o.svg.writeSVG(chat, ringOf(t, rows[:n]).Draw()); err != nil {
			return err
		}
	}
	if o.listing.plain() {
		fmt.Fprintf(out, "%s: %s, repeating at %s, from %s\n\n", t.Name(), display.Count(n, "note"), period, t.Reference())
	}
	return o.listing.write(out, stepListing(t, rows))
}

// stepListing lists notes; as CSV it is a tuning file as well.
func stepListing(t *targets.Tuning, rows []targets.NoteRow) *text.Listing {
	l := &text.Listing{Type: "step", Columns: []text.Column{
		{Name: "tuning"},
		{Name: "step", Title: "step"},
		{Name: "label", Title: "note"},
		{Name: "interval", Title: "interval"},
		{Name: "cents", Title: "cents", Decimals: 2},
		{Name: "hz", Title: "Hz", Decimals: 3},
		{Name: "ratio", Title: "near"},
		{Name: "off_cents", Title: "off", Decimals: 2, Signed: true},
		{Name: "beat_hz", Title: "beats/s", Decimals: 2},
	}}
	for _, r := range rows {
		l.Rows = append(l.Rows, []any{t.String(), r.Step, r.Label, r.Interval.String(), r.Cents, r.Hz, r.Ratio.String(), r.OffCents, r.BeatHz})
	}
	return l
}

func ringOf(t *targets.Tuning, rows []targets.NoteRow) figure.Ring {
	period, _ := t.Period()
	ring := figure.Ring{Title: t.Name(), Period: period.String(), PeriodCents: period.Cents()}
	for _, r := range rows {
		ring.Notes = append(ring.Notes, figure.RingNote{Cents: r.Cents, Label: r.Label, Ratio: r.Ratio.String(), OffCents: r.OffCents})
	}
	return ring
}
