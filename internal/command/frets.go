package command

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/figure"
	"tunerd/internal/display/figure/pdf"
	"tunerd/internal/fretboard"
	"tunerd/internal/targets"
)

type fretsOptions struct {
	instrument    instrumentOptions
	listing       listingOptions
	bare          bareBoard
	where         string
	chord         string
	harmonics     bool
	str           int
	fret          int
	span          float64
	within        float64
	most          int
	perpendicular int
	svg           outFile
	pdf           outFile
	paper         string

	fretGiven          bool
	perpendicularGiven bool
}

func (o *fretsOptions) addFlags(fs *pflag.FlagSet) {
	o.instrument.addFlags(fs)
	fs.Lookup("tuning").Usage = "lay the frets anew in another tuning `SPEC`, up to where they end (default: the instrument's)"
	o.bare.addFlags(fs)
	o.listing.addFlags(fs)
	fs.StringVar(&o.where, "where", "", "tell where an `INTERVAL` such as 7/4 lies above a string at a fret")
	fs.StringVar(&o.chord, "chord", "", "find shapes of a `CHORD` such as 4:5:6:7")
	fs.BoolVar(&o.harmonics, "harmonics", false, "tell where natural harmonics are touched")
	fs.IntVar(&o.str, "string", 0, "only string `N`; the root of --where and --chord (default: the lowest, all)")
	fs.IntVar(&o.fret, "fret", 0, "the root of --where and --chord at fret `N` (default: the open string, any)")
	fs.Float64Var(&o.span, "span", 100, "`MM` between the outermost pressed frets of a chord shape")
	fs.Float64Var(&o.within, "within", 20, "`CENTS` by which an interval of a chord shape may be off")
	fs.IntVar(&o.most, "most", 20, "show the first `N` shapes; 0 shows all")
	fs.IntVar(&o.perpendicular, "perpendicular", 0, "fret `N` stands square to the neck on a fan (default: the instrument's)")
	addOutFile(fs, &o.svg, "svg", "", "draw to `FILE`: the template at 1:1, or the board with what was asked for")
	addOutFile(fs, &o.pdf, "pdf", "", "draw the template at 1:1 to `FILE`")
	fs.StringVar(&o.paper, "paper", "", "`NAME` of the template's paper, a4 or letter (default: a4; an SVG is one long sheet)")
}

func newFretsCommand() *cobra.Command {
	var o fretsOptions
	cmd := &cobra.Command{
		Use:   "frets [INSTRUMENT]",
		Short: "Fret places, printable templates, and what lies where on the fretboard",
		Long: `Print the place of every fret of an instrument, a built-in name or a TOML file, and draw a template
for the saw. With --scale and --count no instrument is needed. With --where, --chord or --harmonics,
print what lies where on the board.`,
		Example: `  tunerd frets --scale 650 --tuning 31edo --count 24
  tunerd frets guitar-41edo-alternate --pdf template.pdf
  tunerd frets guitar-12edo --tuning 31edo --pdf template.pdf
  tunerd frets guitar-41edo-alternate --where 7/4 --string 6
  tunerd frets guitar-41edo-alternate --chord 4:5:6:7 --svg shapes.svg
  tunerd frets guitar-12edo --harmonics --string 5`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.fretGiven, o.perpendicularGiven = cmd.Flags().Changed("fret"), cmd.Flags().Changed("perpendicular")
			return runFrets(cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr(), strings.Join(args, ""), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

// check refuses flags that do not go together.
func (o *fretsOptions) check() error {
	asked := 0
	for _, given := range []bool{o.where != "", o.chord != "", o.harmonics} {
		if given {
			asked++
		}
	}
	switch {
	case asked > 1:
		return usagef("--where, --chord and --harmonics exclude one another")
	case asked > 0 && (o.pdf.given() || o.paper != ""):
		return usagef("--pdf and --paper are for the template of fret places; write --svg for a drawing of the answer")
	case o.paper != "" && !o.pdf.given() && !o.svg.given():
		return usagef("--paper needs --pdf or --svg with the file to draw to")
	case o.fretGiven && o.where == "" && o.chord == "":
		return usagef("--fret goes with --where or --chord")
	case o.fret < 0:
		return usagef("--fret %d is below 0, the open string", o.fret)
	case o.most < 0:
		return usagef("--most %d is below 0", o.most)
	}
	return o.listing.check()
}

func runFrets(ctx context.Context, out, chat io.Writer, name string, o fretsOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	b, err := o.board(name)
	if err != nil {
		return err
	}
	a := fretsAnswer{b: b, o: &o, out: out, chat: chat}
	switch {
	case o.where != "":
		return a.where()
	case o.chord != "":
		return a.shapes(ctx)
	case o.harmonics:
		return a.harmonics()
	}
	return a.places()
}

// load reads the instrument of that name, or without one makes that of the flags.
func (o *fretsOptions) load(name string) (*targets.Instrument, error) {
	switch {
	case name == "" && !o.bare.given():
		return nil, hintf(usagef("no instrument"), `name one, or write --scale and --count: tunerd frets --scale 650 --tuning 31edo --count 24`)
	case name == "":
		return o.bare.instrument(o.instrument.tuning, o.instrument.reference)
	case o.bare.given():
		return nil, usagef("%s has a scale length and frets of its own; leave out --scale, --count, --every and --open", name)
	}
	return o.instrument.load(name)
}

// board lays out the instrument; what is wrong with it or with the strings asked for is wrong usage.
func (o *fretsOptions) board(name string) (*fretboard.Board, error) {
	in, err := o.load(name)
	if err != nil {
		return nil, err
	}
	if in, err = in.Refretted(); err != nil {
		return nil, usageError{err}
	}
	var options fretboard.Options
	if o.perpendicularGiven {
		options.Perpendicular = &o.perpendicular
	}
	b, err := fretboard.New(in, options)
	if err != nil {
		return nil, usageError{err}
	}
	if o.str < 0 || o.str > len(b.Strings) {
		return nil, usagef("--string %d: %s has strings 1 to %d", o.str, b.Name, len(b.Strings))
	}
	return b, nil
}

// A fretsAnswer writes what was asked of a board.
type fretsAnswer struct {
	b         *fretboard.Board
	o         *fretsOptions
	out, chat io.Writer
}

// strings returns the strings asked for.
func (a *fretsAnswer) strings() []fretboard.String {
	if a.o.str > 0 {
		return a.b.Strings[a.o.str-1 : a.o.str]
	}
	return a.b.Strings
}

// head writes a line above a table for a person to read.
func (a *fretsAnswer) head(format string, args ...any) {
	if a.o.listing.plain() {
		fmt.Fprintf(a.out, format+"\n", args...)
	}
}

// draw writes the board with what was asked for to --svg, if given.
func (a *fretsAnswer) draw(panels []figure.Panel) error {
	if !a.o.svg.given() {
		return nil
	}
	return a.o.svg.writeSVG(a.chat, figure.DrawBoard(drawnBoard(a.b), panels))
}

func (a *fretsAnswer) places() error {
	if a.b.Fretless() {
		return hintf(fmt.Errorf("%s has no frets", a.b.Name), "--where, --chord and --harmonics say what lies on its strings")
	}
	if err := a.template(); err != nil {
		return err
	}
	shown := a.strings()
	merged := a.o.listing.plain() && a.b.Alike()
	if merged && a.o.str == 0 {
		shown = shown[:1]
		if n := len(a.b.Strings); n == 1 {
			a.head("%s: %.6g mm", a.b.Name, shown[0].ScaleMM)
		} else {
			a.head("%s: %.6g mm, all %d strings alike", a.b.Name, shown[0].ScaleMM, n)
		}
	} else {
		a.head("%s", a.b.Name)
	}
	if err := a.o.listing.write(a.out, fretList(shown, merged && a.o.str == 0)); err != nil {
		return err
	}
	return a.octaves()
}

// template draws the board at 1:1 to --svg and --pdf, if given.
func (a *fretsAnswer) template() error {
	var paper figure.Paper
	if a.o.paper != "" {
		p, err := figure.ParsePaper(a.o.paper)
		if err != nil {
			return usageError{err}
		}
		paper = p
	}
	if a.o.svg.given() {
		pages, err := figure.TemplateSVG(drawnBoard(a.b), paper)
		if err != nil {
			return err
		}
		if err := a.o.svg.writePages(a.chat, pages); err != nil {
			return err
		}
	}
	if !a.o.pdf.given() {
		return nil
	}
	if a.o.paper == "" {
		paper, _ = figure.ParsePaper("a4") // there is one
	}
	var file bytes.Buffer
	if err := pdf.WriteTemplate(&file, drawnBoard(a.b), paper); err != nil {
		return err
	}
	return a.o.pdf.write(a.chat, file.Bytes())
}

func (a *fretsAnswer) where() error {
	iv, err := targets.ParseInterval(a.o.where)
	if err != nil {
		return usageError{err}
	}
	str := a.o.str
	if str == 0 {
		str = a.b.Lowest()
	}
	places, err := a.b.Where(iv, str, a.o.fret)
	if err != nil {
		return usageError{err}
	}
	if err := a.draw([]figure.Panel{wherePanel(a.b, iv, str, a.o.fret, places)}); err != nil {
		return err
	}
	a.head("%s: %s (%.2f cents) above string %d fret %d", a.b.Name, iv, iv.Cents(), str, a.o.fret)
	if err := a.o.listing.write(a.out, placeList(places)); err != nil {
		return err
	}
	return a.oneString(iv)
}

func (a *fretsAnswer) harmonics() error {
	const most = 10 // partials above are hard to touch
	var all []fretboard.Harmonic
	for _, s := range a.strings() {
		found, err := a.b.Harmonics(s.Number, most)
		if err != nil {
			return err
		}
		all = append(all, found...)
	}
	if err := a.draw([]figure.Panel{harmonicsPanel(a.b, all)}); err != nil {
		return err
	}
	a.head("%s: natural harmonics", a.b.Name)
	return a.o.listing.write(a.out, harmonicList(all))
}

func (a *fretsAnswer) shapes(ctx context.Context) error {
	chord, err := targets.ParseChord(a.o.chord)
	if err != nil {
		return usageError{err}
	}
	q := fretboard.ChordQuery{Notes: chord.Notes(), SpanMM: a.o.span, WithinCents: a.o.within, String: a.o.str, Fret: -1}
	if a.o.fretGiven {
		q.Fret = a.o.fret
	}
	all, err := a.b.Shapes(ctx, q)
	if err != nil {
		return usageError{err}
	}
	shown := all
	if a.o.most > 0 && len(all) > a.o.most {
		shown = all[:a.o.most]
		fmt.Fprintf(a.chat, "tunerd: the first %d of %d shapes; --most 0 shows all\n", len(shown), len(all))
	}
	if len(all) == 0 {
		if err := a.noShape(ctx, q); err != nil {
			return err
		}
	}
	if err := a.draw(shapePanels(a.b, chord, shown)); err != nil {
		return err
	}
	a.head("%s: %s within %g mm and %g cents", a.b.Name, chord, a.o.span, a.o.within)
	if len(shown) > 0 || a.o.listing.csv {
		if err := a.o.listing.write(a.out, shapeList(a.b, chord, shown)); err != nil {
			return err
		}
	}
	return a.octaves()
}

// noShape says what would have to be allowed for a shape to be found.
func (a *fretsAnswer) noShape(ctx context.Context, q fretboard.ChordQuery) error {
	off, found, err := a.b.Purest(ctx, q)
	if err != nil {
		return err
	}
	if found {
		fmt.Fprintf(a.chat, "tunerd: no shape within %g cents; the purest within %g mm is off by %.1f: allow more with --within\n", q.WithinCents, q.SpanMM, off)
	} else {
		fmt.Fprintf(a.chat, "tunerd: no shape within %g mm however impure; allow more with --span\n", q.SpanMM)
	}
	return nil
}

// octaves states where an octave does and does not lie on one string.
func (a *fretsAnswer) octaves() error {
	octave, err := targets.Ratio(2, 1)
	if err != nil {
		return err
	}
	return a.oneString(octave)
}

// oneString states on which strings an interval lies above a note of the same string. It adds
// to a table and to JSON; CSV has one table only.
func (a *fretsAnswer) oneString(iv targets.Interval) error {
	var shown []fretboard.OneString
	for _, s := range a.b.OnOneString(iv) {
		if a.o.str == 0 || s.String == a.o.str {
			shown = append(shown, s)
		}
	}
	switch {
	case a.o.listing.csv:
		return nil
	case a.o.listing.json:
		return oneStringList(iv, shown).WriteJSON(a.out)
	}
	fmt.Fprintf(a.out, "\n%s on one and the same string:\n", intervalName(iv))
	for _, line := range oneStringWords(shown) {
		fmt.Fprintf(a.out, "  %s\n", line)
	}
	return nil
}
