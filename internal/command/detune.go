package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/detune"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

type detuneOptions struct {
	instrument instrumentOptions
	listing    listingOptions
	chords     []string
	anchor     string
	limits     []string
	loads      []string
	by         string
	pure       string
	measured   string
	also       []string
	shapes     string
	spare      float64
	explore    bool
	most       int
	svg        outFile
	output     outFile
	plan       string
	far        bool
	risk       riskOptions
	coupled    coupledOptions

	shapesGiven bool
}

func (o *detuneOptions) addFlags(fs *pflag.FlagSet) {
	o.instrument.addFlags(fs)
	o.listing.addFlags(fs)
	fs.StringArrayVar(&o.chords, "chord", nil, "make this `CHORD` pure, such as \"G: 3 2 0 0 0 3 as 4:5:6:8:10:16\"; may be repeated")
	fs.StringVar(&o.anchor, "anchor", "", "string `N` is not moved; none lets all move as little as can be\n(default: the first note of the first chord)")
	fs.StringArrayVar(&o.limits, "move-limit", nil, "a string may be moved by `CENTS`: 30, -20..5, or for string 2, 2=-20..5;\nmay be repeated (default 100)")
	fs.StringArrayVar(&o.loads, "max-tension", nil, "a string may be raised to a `TENSION` of 85N, or 60% of what breaks it,\nor for string 1, 1=60%; may be repeated")
	fs.StringVar(&o.by, "method", "squares", "balance chords that contradict one another by `METHOD`:\nsquares (least squares), worst (the worst error), beats (their energy)")
	fs.StringVar(&o.pure, "pure", "fundamentals", "what is to be pure, `WHAT`: fundamentals, or partials in spite of stiffness")
	fs.StringVar(&o.measured, "measured", "", "`FILE` of measure --json --instrument: pitch and inharmonicity of the strings now")
	fs.StringArrayVar(&o.also, "also", nil, "tell what becomes of this `CHORD`, written as in --chord; may be repeated")
	fs.StringVar(&o.shapes, "shapes", detune.CommonChords, "tell what becomes of all shapes of these `CHORDS`, unless --also names others;\nnone passes them over")
	fs.Float64Var(&o.spare, "spare", 0, "spare these other chords: their errors count this `PART`, from 0 to 1")
	fs.BoolVar(&o.explore, "explore", false, "show the trade-off between the chords and the others, for every --spare")
	fs.IntVar(&o.most, "most", 10, "show the `N` other chords that lose most, and N partials of each chord; 0 shows all")
	addOutFile(fs, &o.svg, "svg", "", "with --explore, draw the trade-off to `FILE`")
	addOutFile(fs, &o.output, "output", "o", "write the plan to `FILE`.toml or .json")
	fs.StringVar(&o.plan, "plan", "", "tell of the plan in `FILE` instead of making one")
	fs.BoolVar(&o.far, "far", false, fmt.Sprintf("also for chords that start more than %d cents off what they are to be", detune.FarCents))
	o.risk.addFlags(fs)
	o.coupled.addFlags(fs)
}

func newDetuneCommand() *cobra.Command {
	var o detuneOptions
	cmd := &cobra.Command{
		Use:   "detune INSTRUMENT",
		Short: "Make chords pure by moving open strings, and tell what that costs",
		Long: `Find by how many cents to move each open string of an instrument, a built-in name or a TOML file,
so that chords become pure, and what that does to other chords.

A chord is written as the frets of all strings, from the last to string 1 (x does not sound), and
the parts of those that sound: "x 3 2 3 1 0 as 4:5:7:8:10". Fewer parts than strings are taken in
other octaves too: "320003 as 4:5:6". With "as 5=4 4=5", string 5 has part 4 and string 4 part 5.
A name may stand before it ("C7: ...") and a weight behind it ("... weight 2").

One chord becomes pure exactly. Several that contradict one another are balanced. Where the limits
forbid it, the plan comes as near as they allow, and says so. --output writes the plan to a file;
"tunerd listen --plan FILE" tunes to it, "tunerd measure --plan FILE" checks it.`,
		Example: `  tunerd detune guitar-12edo --chord "320003 as 4:5:6:8:10:16" --output g.toml
  tunerd detune guitar-12edo --chord "x32310 as 4:5:7:8:10" \
      --move-limit -40..0 --also "022000 as 2:3:4:24/5:6:8"
  tunerd detune guitar-12edo --chord "320003 as 4:5:6" \
      --chord "x32010 as 4:5:6" --method worst
  tunerd detune guitar-12edo --chord "320003 as 4:5:6" --explore --svg trade.svg
  tunerd detune --plan g.toml --json`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.shapesGiven = cmd.Flags().Changed("shapes")
			return runDetune(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), args, o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

// check refuses flags that do not go together.
func (o *detuneOptions) check(args []string) error {
	switch {
	case o.plan != "" && (len(args) > 0 || len(o.chords) > 0 || o.explore || o.instrument != (instrumentOptions{})):
		return usagef("--plan has its own instrument, tuning and chords; leave them and --explore out")
	case o.plan == "" && len(args) == 0:
		return hintf(usagef("name an instrument, or a plan with --plan"), `"tunerd instrument list" lists the built-in ones`)
	case o.plan == "" && len(o.chords) == 0:
		return usagef(`--chord is missing, such as --chord "3 2 0 0 0 3 as 4:5:6:8:10:16"`)
	case o.svg.given() && !o.explore:
		return usagef("--svg draws what --explore shows; add --explore")
	case o.explore && (o.output.given() || o.spare != 0):
		return usagef("--explore shows plans for every --spare; choose one and write it without --explore")
	case o.most < 0:
		return usagef("--most %d is below 0", o.most)
	}
	return o.listing.check()
}

func runDetune(ctx context.Context, out, chat io.Writer, args []string, o detuneOptions) error {
	if err := o.check(args); err != nil {
		return err
	}
	a := detuneAnswer{o: &o, out: out, chat: chat}
	if o.plan != "" {
		plan, err := detune.LoadPlan(o.plan)
		if err != nil {
			return usageError{err}
		}
		a.plan = plan
		if a.others, err = a.otherChords(ctx, plan.Instrument); err != nil {
			return err
		}
		return a.tell()
	}
	problem, err := a.problem(ctx, args[0])
	if err != nil {
		return err
	}
	if o.explore {
		return a.explore(problem)
	}
	if a.plan, err = detune.Solve(*problem); err != nil {
		return farHint(err)
	}
	a.plan.Tuning, a.plan.Reference, a.plan.AcceptRisk = o.instrument.tuning, o.instrument.reference, o.risk.accepted
	return a.tell()
}

// farHint says what may be done about a chord that starts too far off.
func farHint(err error) error {
	var far *detune.FarError
	if errors.As(err, &far) {
		return hintf(usageError{err}, "frets and parts go from the last string to string 1; --far takes it as it is")
	}
	return usageError{err}
}

// A detuneAnswer writes what was asked.
type detuneAnswer struct {
	o         *detuneOptions
	out, chat io.Writer
	plan      *detune.Plan
	others    []detune.Chord
}

// The words of --method and --pure.
var (
	methods  = map[string]detune.Method{"squares": detune.LeastSquares, "worst": detune.WorstError, "beats": detune.BeatEnergy}
	purities = map[string]detune.Purity{"fundamentals": detune.ByFundamentals, "partials": detune.ByPartials}
)

// problem reads the flags. All that is wrong with them is wrong usage.
func (a *detuneAnswer) problem(ctx context.Context, name string) (*detune.Problem, error) {
	in, err := a.o.instrument.load(name)
	if err != nil {
		return nil, err
	}
	p := &detune.Problem{Instrument: in, Spare: a.o.spare, AcceptFar: a.o.far}
	if err := a.o.read(in, p); err != nil {
		return nil, usageError{err}
	}
	if unbound := detune.Unbound(in, p.Loads); len(unbound) > 0 {
		fmt.Fprintf(a.chat, "tunerd: --max-tension does not hold %s back: what they bear is not known; --move-limit does\n", tension.StringList(unbound))
	}
	if a.others, err = a.otherChords(ctx, in); err != nil {
		return nil, err
	}
	p.Rest = a.others
	return p, nil
}

func (o *detuneOptions) read(in *targets.Instrument, p *detune.Problem) (err error) {
	var ok bool
	if p.Method, ok = methods[o.by]; !ok {
		return fmt.Errorf("--method %q is none of squares, worst, beats", o.by)
	}
	if p.PureBy, ok = purities[o.pure]; !ok {
		return fmt.Errorf("--pure %q is none of fundamentals, partials", o.pure)
	}
	if p.Chords, err = parseChords(in, o.chords); err != nil {
		return err
	}
	if p.Anchor, err = o.anchorOf(p.Chords[0]); err != nil {
		return err
	}
	if p.Limits, err = detune.ParseLimits(in, o.limits); err != nil {
		return err
	}
	if p.Loads, err = detune.ParseLoads(in, o.loads); err != nil {
		return err
	}
	if o.measured != "" {
		p.Measured, err = readMeasured(in, o.measured)
	}
	return err
}

func parseChords(in *targets.Instrument, texts []string) ([]detune.Chord, error) {
	var all []detune.Chord
	for _, text := range texts {
		c, err := detune.ParseChord(in, text)
		if err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	return all, nil
}

// anchorOf returns the string that stays, 0 for none.
func (o *detuneOptions) anchorOf(first detune.Chord) (int, error) {
	switch o.anchor {
	case "":
		return first.Notes[0].String, nil
	case "none":
		return 0, nil
	}
	n, err := strconv.Atoi(o.anchor)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("--anchor %q is no number of a string, nor none", o.anchor)
	}
	return n, nil
}

func readMeasured(in *targets.Instrument, path string) ([]detune.Measured, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	all, err := detune.ReadMeasured(in, f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return all, nil
}

// otherChords returns the chords of --also, or else the shapes of --shapes.
func (a *detuneAnswer) otherChords(ctx context.Context, in *targets.Instrument) ([]detune.Chord, error) {
	all, err := parseChords(in, a.o.also)
	if err != nil {
		return nil, usageError{err}
	}
	if a.o.shapes == "none" || len(all) > 0 && !a.o.shapesGiven {
		return all, nil
	}
	chords, err := targets.ParseChords(a.o.shapes)
	if err != nil {
		return nil, usageError{fmt.Errorf("--shapes: %w", err)}
	}
	shapes, err := detune.CommonShapes(ctx, in, chords)
	if err != nil {
		if errors.Is(err, context.Canceled) {
			return nil, err
		}
		fmt.Fprintf(a.chat, "tunerd: no common shapes: %s\n", oneLine(err))
	}
	return append(all, shapes...), nil
}

// tell writes the plan, cautions first. Of one that goes too far nothing is written.
func (a *detuneAnswer) tell() error {
	changes := a.plan.Changes()
	if err := a.refuse(changes, a.plan.AcceptRisk); err != nil {
		return err
	}
	a.head("%s: %s; %s, pure by %s, %s", a.plan.Instrument.Name, instrumentLine(a.plan.Instrument), a.plan.Method, a.plan.PureBy, anchorWords(a.plan.Anchor))
	if a.o.listing.json {
		if err := planHead(a.plan).WriteJSON(a.out); err != nil {
			return err
		}
	}
	if err := a.caution(tension.Cautions(changes)); err != nil {
		return err
	}
	if a.o.output.given() {
		data, err := a.plan.Encode(a.o.output.path)
		if err != nil {
			return usageError{err}
		}
		if err := a.o.output.write(a.chat, data); err != nil {
			return err
		}
	}
	if err := a.o.listing.write(a.out, planStringList(a.plan)); err != nil {
		return err
	}
	if a.o.listing.csv {
		return nil
	}
	if err := a.turns(); err != nil {
		return err
	}
	if err := a.obstacles(); err != nil {
		return err
	}
	for _, c := range a.plan.Chords {
		if err := a.chord(a.plan.Report(c)); err != nil {
			return err
		}
	}
	return a.otherList()
}

func anchorWords(anchor int) string {
	if anchor == 0 {
		return "every string may move"
	}
	return fmt.Sprintf("string %d stays", anchor)
}

// head writes a line above a table for a person to read.
func (a *detuneAnswer) head(format string, args ...any) {
	if a.o.listing.plain() {
		fmt.Fprintf(a.out, format+"\n", args...)
	}
}

// caution says what raising strings means.
func (a *detuneAnswer) caution(paragraphs []string) error {
	switch {
	case a.o.listing.json:
		return cautionList(paragraphs).WriteJSON(a.out)
	case a.o.listing.csv:
		tellParagraphs(a.chat, paragraphs)
	default:
		tellParagraphs(a.out, paragraphs)
	}
	return nil
}

// refuse refuses what goes too far, and says what else may be done.
func (a *detuneAnswer) refuse(changes []tension.Change, inPlan bool) error {
	err := a.o.risk.refuse(changes, inPlan)
	if isRisk(err) {
		return hintf(tension.Refuse(changes), "--max-tension %.0f%% finds the nearest plan that keeps to it, --accept-risk takes this one", 100*tension.Limit)
	}
	return err
}
