package command

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/beats"
	"tunerd/internal/targets"
)

type beatsOptions struct {
	listing     listingOptions
	notes       notesOptions
	chord       string
	all         bool
	partials    int
	within      float64
	table       string
	intervals   string
	differences bool
	slow        float64
	most        int
	measure     string
	window      windowFlag
	source      sourceOptions
}

func (o *beatsOptions) addFlags(fs *pflag.FlagSet) {
	o.notes.addFlags(fs)
	o.listing.addFlags(fs)
	fs.StringVar(&o.chord, "chord", "", "the notes are to stand in this `CHORD`, such as 4:5:6:7, in their order\n(default: the plainest ratios near them)")
	fs.BoolVar(&o.all, "all", false, fmt.Sprintf("every coincidence of each pair, also of several pairs and faster than %d beats a second", beats.FastestHz))
	fs.IntVar(&o.partials, "top-partial", 0, "look at partials 1 to `N` of each note (default: 16; 3 for difference tones)")
	fs.Float64Var(&o.within, "within", beats.DefaultWithin, "`CENTS` within which two partials are taken to belong together")
	fs.StringVar(&o.table, "table", "", "a table of beat rates above every note `FROM..TO` of the tuning")
	fs.StringVar(&o.intervals, "intervals", "6/5 5/4 4/3 3/2 8/5 5/3", "`RATIOS` across the table")
	fs.BoolVar(&o.differences, "differences", false, "the difference tones that drive adds to the chord, and which of them clash")
	fs.Float64Var(&o.slow, "slow", beats.SlowHz, "a difference tone fits if it beats no faster than `HZ` against the chord's series")
	fs.StringVar(&o.measure, "measure", "", "measure how the two notes really beat in this `FILE` (WAV or FLAC; - is standard input),\nafter the last pluck in it")
	fs.Var(&o.window, "window", "look at `A..B` seconds of the file only")
	o.source.addFlags(fs)
	fs.IntVar(&o.most, "most", 20, "show the `N` strongest difference tones; 0 shows all")
}

func newBeatsCommand(d Deps) *cobra.Command {
	var o beatsOptions
	cmd := &cobra.Command{
		Use:   "beats NOTE...",
		Short: "Beats of notes: which partials, how fast, what to turn",
		Long: `Show where partials of two notes nearly coincide, how fast they beat, and which of the notes to
turn which way so that the beats slow down; with several notes, for every pair. With an instrument
and no notes, its open strings. Where the inharmonicity B of the strings is known the partials
are those of stiff strings.

With --measure, measure how two strings really beat, and which to turn which way: pluck both together,
and let no other string sound. Which side of pure they are on comes from those of their partials
that do not coincide; beats too slow for the recording come from these as well.

` + noteHelp,
		Example: `  tunerd beats A3 C#4
  tunerd beats --instrument guitar-12edo 6f3 5f2 4 3 2 1f3
  tunerd beats --table F3..F4
  tunerd beats --tuning 31edo C3 E3 G3 A#3 --chord 4:5:6:7
  tunerd beats --differences A2 C#3 E3
  tunerd beats --measure take.wav A2 E3`,
		Args: usageArgs(cobra.ArbitraryArgs),
		RunE: func(cmd *cobra.Command, words []string) error {
			return runBeats(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), words, o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runBeats(ctx context.Context, d Deps, out, chat io.Writer, words []string, o beatsOptions) error {
	if err := o.check(words); err != nil {
		return err
	}
	reader, err := o.notes.reader()
	if err != nil {
		return err
	}
	if o.table != "" {
		return o.writeTable(out, reader)
	}
	notes, err := reader.notes(words)
	if err != nil {
		return err
	}
	if len(notes) < 2 {
		return hintf(usagef("beats need two notes or more"), `"tunerd beats A3 C#4" is an example; "tunerd beats --help" says how notes are written`)
	}
	switch {
	case o.measure != "":
		return o.writeMeasured(ctx, d, out, chat, notes)
	case o.differences:
		return o.writeDifferences(out, notes)
	}
	return o.writePairs(out, chat, notes)
}

// maxPartials bounds the search for coincidences.
const maxPartials = 64

func (o *beatsOptions) check(words []string) error {
	switch {
	case o.table != "" && (len(words) > 0 || o.chord != "" || o.differences || o.all):
		return usagef("--table is a question of its own, without notes, --chord, --all and --differences")
	case o.measure != "" && (o.table != "" || o.differences || o.all):
		return usagef("--measure is a question of its own, without --table, --differences and --all")
	case o.measure == "" && o.window.seconds != [2]float64{}:
		return usagef("--window goes with --measure")
	case o.partials < 0 || o.partials > maxPartials:
		return usagef("--top-partial %d is not within 1 to %d", o.partials, maxPartials)
	case !(o.within > 0 && o.within <= 600):
		return usagef("--within %g cents is not within 0 to 600", o.within)
	case !(o.slow > 0):
		return usagef("--slow %g is not above 0", o.slow)
	case o.most < 0:
		return usagef("--most %d is below 0", o.most)
	case o.differences && o.all:
		return usagef("--all is for beats; --most 0 shows all difference tones")
	}
	return o.listing.check()
}

// partialsOr is the number of partials asked for, or else usual.
func (o *beatsOptions) partialsOr(usual int) int {
	if o.partials == 0 {
		return usual
	}
	return o.partials
}

func (o *beatsOptions) writePairs(out, chat io.Writer, notes []note) error {
	pairs := beats.Pairs(tones(notes), o.partialsOr(beats.DefaultPartials), o.within)
	if o.chord != "" {
		numbers, err := chordNumbers(o.chord, len(notes))
		if err != nil {
			return err
		}
		pairs = beats.PairsOf(tones(notes), numbers)
	}
	switch {
	case o.all:
	case len(pairs) == 1:
		var rough int
		if pairs[0].Found, rough = pairs[0].Beating(); rough > 0 {
			fmt.Fprintf(chat, "tunerd: coincidences that beat faster than %d times a second, which sounds rough, are left out: %d; --all shows them\n", beats.FastestHz, rough)
		}
	default:
		for i := range pairs {
			pairs[i].Found = pairs[i].Found[:min(1, len(pairs[i].Found))]
		}
	}
	return o.listing.write(out, beatList(notes, pairs))
}

// writeTable writes the rates of --table. A person reads them across; programs get a line each.
func (o *beatsOptions) writeTable(out io.Writer, r *noteReader) error {
	lower, err := tableNotes(r, o.table)
	if err != nil {
		return err
	}
	intervals, err := tableIntervals(o.intervals)
	if err != nil {
		return err
	}
	rows := beats.Table(lower, intervals, r.nearest)
	if !o.listing.plain() {
		return o.listing.write(out, tableLines(rows))
	}
	fmt.Fprintf(out, "%s, %s: beats a second, + wide, - narrow\n\n", r.plan.tuning.Name(), r.plan.tuning.Reference())
	return o.listing.write(out, tableAcross(rows, intervals))
}

// maxTableNotes bounds a table.
const maxTableNotes = 1000

// tableNotes reads FROM..TO.
func tableNotes(r *noteReader, text string) ([]beats.Tone, error) {
	from, to, ok := strings.Cut(text, "..")
	if !ok {
		return nil, usagef("--table %q: write two notes of the tuning, such as F3..F4", text)
	}
	first, err := r.plan.tuning.Step(strings.TrimSpace(from))
	if err != nil {
		return nil, usageError{err}
	}
	last, err := r.plan.tuning.Step(strings.TrimSpace(to))
	if err != nil {
		return nil, usageError{err}
	}
	if last < first || last-first >= maxTableNotes {
		return nil, usagef("--table %q does not lead from a note up to one at most %d notes above", text, maxTableNotes)
	}
	var lower []beats.Tone
	for step := first; step <= last; step++ {
		n, err := r.note("step " + strconv.Itoa(step))
		if err != nil {
			return nil, usageError{err}
		}
		lower = append(lower, n.Tone)
	}
	return lower, nil
}

func tableIntervals(text string) ([][2]int, error) {
	var all [][2]int
	for _, word := range strings.Fields(text) {
		iv, err := targets.ParseInterval(word)
		if err != nil {
			return nil, usageError{err}
		}
		r, ok := iv.Rat()
		if !ok || iv.Cents() <= 0 || r.Num().BitLen() > 7 {
			return nil, usagef("--intervals: %q is no ratio above 1/1 of numbers up to 127, such as 5/4", word)
		}
		all = append(all, [2]int{int(r.Num().Int64()), int(r.Denom().Int64())})
	}
	if len(all) == 0 {
		return nil, usagef("--intervals is empty; write ratios such as \"5/4 3/2\"")
	}
	return all, nil
}

func (o *beatsOptions) writeDifferences(out io.Writer, notes []note) error {
	series, err := seriesOf(notes, o.chord)
	if err != nil {
		return err
	}
	found := beats.Combinations(tones(notes), series, beats.CombinationLimits{Partials: o.partialsOr(3)})
	shown := found
	if o.most > 0 {
		shown = found[:min(o.most, len(found))]
	}
	if o.listing.plain() {
		fmt.Fprintf(out, "chord %s on %.3f Hz\n\n", chordText(series.Numbers), series.RootHz)
	}
	if err := o.listing.write(out, differenceList(notes, shown, o.slow)); err != nil || !o.listing.plain() {
		return err
	}
	fits := 0
	for _, c := range found {
		if c.Fits(o.slow) {
			fits++
		}
	}
	_, err = fmt.Fprintf(out, "\nof %d difference tones %d fit within %g beats a second and %d clash; here are the %d strongest\n",
		len(found), fits, o.slow, len(found)-fits, len(shown))
	return err
}

func chordText(numbers []int) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ":")
}
