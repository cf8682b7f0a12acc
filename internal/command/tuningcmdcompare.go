package command

import (
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"tunerd/internal/display"
	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/targets"
)

type tuningCompareOptions struct {
	listing   listingOptions
	chords    string
	by        string
	reference string
	divisions string
	of        string
	most      int
	svg       outFile
}

func newTuningCompareCommand() *cobra.Command {
	o := tuningCompareOptions{chords: "4:5:6:7, 10:12:15", by: string(targets.ByWorst), of: "2/1"}
	cmd := &cobra.Command{
		Use:   "compare SPEC... | --divisions 5..99",
		Short: "Rank tunings, or all divisions of a range, by how near they come to chords",
		Long: `Rank tunings, or all equal divisions of a range, by how near they come to the chords that you
play. For each chord the best choice of notes over all roots of the tuning is searched; its pairs
of notes are listed with their error and the beats a second they make from that root.

The worst error is that of the worst pair; the weighted error is the root mean square over all
pairs, a pair n/m weighing 1/√(n·m). A mapping is consistent if every pair is also the best
approximation of its own interval: the best third and the best minor third make the best fifth.
Give a SPEC of several words in quotes; "tunerd tuning --help" says what a SPEC is.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runTuningCompare(cmd.OutOrStdout(), cmd.ErrOrStderr(), args, o)
		},
	}
	fs := cmd.Flags()
	o.listing.addFlags(fs)
	fs.StringVar(&o.chords, "chords", o.chords, "`CHORDS` of whole-number ratios, separated by commas")
	fs.StringVar(&o.by, "by", o.by, "rank by the `FIGURE` worst, weighted, or relative: worst in parts of a step")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tunings start from, such as A4=440; beats depend on it")
	fs.StringVar(&o.divisions, "divisions", "", "rank the equal divisions of this `RANGE`, such as 5..99")
	fs.StringVar(&o.of, "of", o.of, "`INTERVAL` that --divisions divides")
	fs.IntVar(&o.most, "most", 0, "print only the best `N` (default: all)")
	addOutFile(fs, &o.svg, "svg", "", "also plot the errors into this `FILE`")
	return cmd
}

func runTuningCompare(out, chat io.Writer, specs []string, o tuningCompareOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	if (o.divisions == "") == (len(specs) == 0) {
		return hintf(usagef("compare takes either tunings or --divisions"), "tunerd tuning compare 31edo 41edo; tunerd tuning compare --divisions 5..99")
	}
	if o.most < 0 {
		return usagef("--most %d is below 0", o.most)
	}
	chords, err := targets.ParseChords(o.chords)
	if err != nil {
		return usageOf(err)
	}
	by, err := targets.ParseObjective(o.by)
	if err != nil {
		return usagef("--by: %w", err)
	}
	if o.divisions != "" {
		return rankDivisions(out, chat, chords, by, o)
	}
	var tunings []*targets.Tuning
	for _, spec := range specs {
		t, err := readTuning(spec, o.reference)
		if err != nil {
			return err
		}
		tellBeyond(chat, t)
		tunings = append(tunings, t)
	}
	fits := targets.CompareTunings(tunings, chords, by)
	return writeFits(out, chat, fits[:o.count(len(fits))], o)
}

// count returns how many of n results are printed.
func (o *tuningCompareOptions) count(n int) int {
	if o.most == 0 {
		return n
	}
	return min(o.most, n)
}

// axis says what the plots show.
func (o *tuningCompareOptions) axis() string {
	return "error of the worst pair of " + o.chords + ", cents"
}

func writeFits(out, chat io.Writer, fits []targets.TuningFit, o tuningCompareOptions) error {
	if o.svg.given() {
		plot := figure.ErrorPlot{Title: "Tunings for " + o.chords, Axis: o.axis()}
		for _, f := range fits {
			plot.Points = append(plot.Points, figure.ErrorPoint{Label: f.Tuning.Name(), Error: f.WorstCents, Second: f.WeightedCents, Marked: true})
		}
		if err := o.svg.writeSVG(chat, plot.Draw()); err != nil {
			return err
		}
	}
	if o.listing.csv {
		return pairListing(fits).WriteCSV(out)
	}
	if err := o.listing.write(out, fitListing(fits)); err != nil {
		return err
	}
	if o.listing.json {
		return chordListing(fits).WriteJSON(out)
	}
	for i := range fits {
		for j := range fits[i].Chords {
			if err := writeChord(out, &fits[i], j); err != nil {
				return err
			}
		}
	}
	return nil
}

// fitListing lists the tunings, a row each.
func fitListing(fits []targets.TuningFit) *text.Listing {
	l := &text.Listing{Type: "tuning_fit", Columns: []text.Column{
		{Name: "rank", Title: "rank"},
		{Name: "tuning", Title: "tuning"},
		{Name: "worst_cents", Title: "worst cents", Decimals: 2},
		{Name: "weighted_cents", Title: "weighted", Decimals: 2},
		{Name: "worst_steps", Title: "worst in steps", Decimals: 3},
		{Name: "consistent", Title: "consistent"},
	}}
	for i, f := range fits {
		l.Rows = append(l.Rows, []any{i + 1, f.Tuning.Name(), f.WorstCents, f.WeightedCents, f.RelativeWorst, f.Consistent})
	}
	return l
}

// A pairLine is the JSON form of a pair within a chord.
type pairLine struct {
	Low       uint64  `json:"low"`
	High      uint64  `json:"high"`
	Ratio     string  `json:"ratio"`
	Steps     int     `json:"steps"`
	BestSteps int     `json:"best_steps"`
	Cents     float64 `json:"error_cents"`
	BeatHz    float64 `json:"beat_hz"`
}

// chordListing lists the chords of all tunings with their pairs; it is for JSON only.
func chordListing(fits []targets.TuningFit) *text.Listing {
	l := &text.Listing{Type: "chord_fit", Columns: []text.Column{
		{Name: "rank"}, {Name: "tuning"}, {Name: "chord"}, {Name: "root_step"}, {Name: "root_label"}, {Name: "root_hz"}, {Name: "steps"},
		{Name: "worst_cents"}, {Name: "weighted_cents"}, {Name: "consistent"}, {Name: "pairs"},
	}}
	for i, f := range fits {
		for _, c := range f.Chords {
			pairs := make([]pairLine, len(c.Pairs))
			for k, p := range c.Pairs {
				pairs[k] = pairLine{p.Low, p.High, p.Ratio(), p.Steps, p.BestSteps, p.Cents, p.BeatHz}
			}
			l.Rows = append(l.Rows, []any{i + 1, f.Tuning.Name(), c.Chord.String(), c.Root.Step, c.Root.Label, c.Root.Hz, c.Steps,
				c.WorstCents, c.WeightedCents, c.Consistent, pairs})
		}
	}
	return l
}

// pairListing lists every pair of every chord of all tunings; it is for CSV only.
func pairListing(fits []targets.TuningFit) *text.Listing {
	l := &text.Listing{Columns: []text.Column{
		{Name: "rank", Title: "rank"}, {Name: "tuning", Title: "tuning"}, {Name: "chord", Title: "chord"}, {Name: "root_step", Title: "root"},
		{Name: "root_hz", Title: "Hz"}, {Name: "pair", Title: "pair"}, {Name: "ratio", Title: "pure"}, {Name: "steps", Title: "steps"},
		{Name: "best_steps", Title: "best"}, {Name: "error_cents", Title: "cents"}, {Name: "beat_hz", Title: "beats/s"},
	}}
	for i, f := range fits {
		for _, c := range f.Chords {
			for _, p := range c.Pairs {
				l.Rows = append(l.Rows, []any{i + 1, f.Tuning.Name(), c.Chord.String(), c.Root.Step, c.Root.Hz, p.Name(), p.Ratio(),
					p.Steps, p.BestSteps, p.Cents, p.BeatHz})
			}
		}
	}
	return l
}

// writeChord writes one chord of a tuning for reading.
func writeChord(out io.Writer, f *targets.TuningFit, chord int) error {
	c := &f.Chords[chord]
	fmt.Fprintf(out, "\n%s in %s on %s, %s Hz: steps %v, worst %.2f, weighted %.2f cents\n", c.Chord, f.Tuning.Name(), c.Root.Label,
		display.Hz(c.Root.Hz, shownSigma), c.Steps, c.WorstCents, c.WeightedCents)
	if p, found := c.InconsistentPair(); found {
		fmt.Fprintf(out, "not consistent: the best %s by itself is %d steps, here it is %d\n", p.Ratio(), p.BestSteps, p.Steps)
	}
	l := text.Listing{Columns: []text.Column{
		{Title: "pair"}, {Title: "pure"}, {Title: "steps"}, {Title: "cents", Decimals: 2, Signed: true}, {Title: "beats/s", Decimals: 2},
	}}
	for _, p := range c.Pairs {
		l.Rows = append(l.Rows, []any{p.Name(), p.Ratio(), p.Steps, p.Cents, p.BeatHz})
	}
	return l.WriteTable(out)
}

const shownSigma = 0.02 // cents: the digits of frequencies in tables

func rankDivisions(out, chat io.Writer, chords []targets.Chord, by targets.Objective, o tuningCompareOptions) error {
	from, to, err := targets.ParseDivisions(o.divisions)
	if err != nil {
		return usageOf(err)
	}
	period, err := targets.ParseInterval(o.of)
	if err != nil {
		return usagef("--of: %w", err)
	}
	ranks, err := targets.RankDivisions(from, to, period, chords, by)
	if err != nil {
		return usageOf(err)
	}
	if o.svg.given() {
		plot := figure.ErrorPlot{Title: fmt.Sprintf("Divisions of %s for %s", period, o.chords), Axis: o.axis()}
		for _, r := range targets.ByDivision(ranks) {
			plot.Points = append(plot.Points, figure.ErrorPoint{Division: r.Division, Label: strconv.Itoa(r.Division), Error: r.WorstCents, Marked: r.Record})
		}
		if err := o.svg.writeSVG(chat, plot.Draw()); err != nil {
			return err
		}
	}
	return o.listing.write(out, rankListing(ranks[:o.count(len(ranks))], period, chords))
}

func rankListing(ranks []targets.DivisionRank, period targets.Interval, chords []targets.Chord) *text.Listing {
	l := &text.Listing{Type: "division", Columns: []text.Column{
		{Name: "rank", Title: "rank"},
		{Name: "division", Title: "division"},
		{Name: "of"},
		{Name: "step_cents", Title: "step cents", Decimals: 3},
		{Name: "worst_cents", Title: "worst cents", Decimals: 2},
		{Name: "weighted_cents", Title: "weighted", Decimals: 2},
		{Name: "worst_steps", Title: "worst in steps", Decimals: 3},
		{Name: "consistent", Title: "consistent"},
		{Name: "odd_limit", Title: "odd limit"},
		{Name: "record", Title: "record"},
	}}
	for _, c := range chords {
		l.Columns = append(l.Columns, text.Column{Name: "steps " + c.String(), Title: c.String()})
	}
	for i, r := range ranks {
		var limit any
		if r.OddLimit > 0 {
			limit = r.OddLimit
		}
		row := []any{i + 1, r.Division, period.String(), r.StepCents, r.WorstCents, r.WeightedCents, r.RelativeWorst, r.Consistent, limit, r.Record}
		for _, s := range r.Steps {
			row = append(row, s)
		}
		l.Rows = append(l.Rows, row)
	}
	return l
}
