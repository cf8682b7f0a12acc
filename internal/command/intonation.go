package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/setup"
	"tunerd/internal/setup/report"
)

type intonationOptions struct {
	name       string
	instrument instrumentOptions
	plan       planOptions
	input      string
	source     sourceOptions
	from       string
	check      outFile
	fresh      bool
	window     windowFlag
	plucks     int
	goal       float64
	thread     float64
	fixed      bool
	keep       keepOptions
	risk       riskOptions
	out        reportOptions
}

func (o *intonationOptions) addFlags(fs *pflag.FlagSet) {
	addNameFlag(fs, &o.name)
	o.instrument.addFlags(fs)
	o.plan.addFlags(fs)
	fs.StringVarP(&o.input, "input", "i", "mic", "`SOURCE` of the sound: mic, mic:NAME, - (standard input) or a recording")
	o.source.addFlags(fs)
	fs.StringVar(&o.from, "from", "", "read the recordings in `DIR` instead of asking for notes: 6-open.wav, 6-12.wav,\n6-h2.wav … (string-fret, harmonic), or what DIR/manifest.csv says")
	o.check.later = true // a guided check goes on with it
	addOutFile(fs, &o.check, "check", "", "`FILE` that keeps the check as it goes (default: intonation-INSTRUMENT.json);\nwhere it is there, the check goes on")
	fs.BoolVar(&o.fresh, "fresh", false, "begin anew, even if the file of a check is there")
	o.window.seconds = setup.UsualSettings.Window
	fs.Var(&o.window, "window", "read each note over `A..B` seconds after its onset")
	fs.IntVar(&o.plucks, "plucks", setup.UsualSettings.Plucks, "pluck each note `N` times at least")
	fs.Float64Var(&o.goal, "goal", setup.UsualSettings.Goal, "and until the standard error of their mean is `CENTS`")
	fs.Float64Var(&o.thread, "thread", 0, "the saddles have screws of `MM` a turn (M3: 0.5, M4: 0.7, 6-32: 0.794): tell turns")
	fs.BoolVar(&o.fixed, "fixed", false, "the saddle is one straight piece for all strings")
	o.keep.addFlags(fs, true)
	o.risk.addFlags(fs)
	o.out.addFlags(fs)
}

func newIntonationCommand(d Deps) *cobra.Command {
	var o intonationOptions
	cmd := &cobra.Command{
		Use:   "intonation INSTRUMENT",
		Short: "Check intonation after a setup: how far to move nut and saddle, which fret is off",
		Long: `Check the intonation of a fretted instrument. One note after another is asked for: open strings,
natural harmonics, and those frets that tell nut, saddle and single frets apart best; no fret need
be an octave. Each is plucked until its readings agree. The readings are fitted: how far to move
nut and saddle of each string, with standard errors, which fret is off its place, and whether it is
worth a turn of the screw.

The check is kept in a file as it goes; stop when you like, and run the same command to go on.
With --from, recordings are read instead. Prompts go to standard error, the outcome to standard
output.`,
		Example: `  tunerd intonation guitar-12edo --html setup.html --pdf setup.pdf
  tunerd intonation guitar-41edo-alternate --from takes --thread 0.7
  tunerd intonation plan guitar-41edo-alternate
  tunerd intonation report intonation-guitar-12edo.json \
      --before old.json --html setup.html`,
		Args: usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := takeName(&o.name, args); err != nil {
				return err
			}
			if o.from != "" {
				for _, asking := range []string{"input", "note-count", "strings", "plucks", "goal", "fresh"} {
					if cmd.Flags().Changed(asking) {
						return usagef("--%s is for notes that are asked for; with --from the recordings decide", asking)
					}
				}
				o.keep.keep = o.keep.keep && cmd.Flags().Changed("keep") // recordings keep themselves
			}
			return runIntonation(cmd.Context(), d, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	cmd.AddCommand(newIntonationPlanCommand(), newIntonationReportCommand())
	return cmd
}

func runIntonation(ctx context.Context, d Deps, in io.Reader, out, chat io.Writer, o intonationOptions) error {
	plan, board, err := o.board()
	if err != nil {
		return err
	}
	settings, err := o.settings()
	if err != nil {
		return err
	}
	if err := o.out.check(); err != nil {
		return err
	}
	before, err := o.out.loadBefore()
	if err != nil {
		return err
	}
	if err := o.caution(chat, plan); err != nil {
		return err
	}
	var check *setup.Check
	var warnings []string
	if o.from != "" {
		check, warnings, err = o.readRecordings(ctx, d, chat, board, settings)
	} else {
		check, err = o.guide(ctx, d, in, chat, board, settings)
	}
	if err != nil || check == nil {
		return err
	}
	if err := o.out.relief.use(check); err != nil { // one that goes on has its own model
		return err
	}
	r, err := report.New(check, before)
	if err != nil {
		return err
	}
	r.Warnings = warnings
	return o.out.write(out, chat, r)
}

func (o *intonationOptions) board() (*plan, *setup.Board, error) {
	return loadBoard(o.name, &o.instrument)
}

// caution tells what the open pitches mean for the strings. Of recordings nothing is refused: they are
// there.
func (o *intonationOptions) caution(chat io.Writer, p *plan) error {
	risk := o.risk
	risk.accepted = risk.accepted || o.from != ""
	_, err := risk.caution(chat, p)
	return err
}

func loadBoard(name string, o *instrumentOptions) (*plan, *setup.Board, error) {
	if name == "" {
		return nil, nil, hintf(usagef("no instrument"), `name one: "tunerd instrument list" lists those that are built in`)
	}
	p, err := o.plan(name)
	if err != nil {
		return nil, nil, err
	}
	board, err := setup.NewBoard(p.config.Instrument)
	if err != nil {
		return nil, nil, usageError{err}
	}
	return p, board, nil
}

func (o *intonationOptions) settings() (setup.Settings, error) {
	s := setup.UsualSettings
	s.Window, s.Plucks, s.Goal, s.Thread, s.Fixed = o.window.seconds, o.plucks, o.goal, o.thread, o.fixed
	s.Most = max(s.Most, 3*s.Plucks)
	if mm := o.out.relief.mm; mm != nil {
		s.Model = s.Model.WithRelief(*mm)
	}
	if err := s.Validate(); err != nil {
		return s, usageError{err}
	}
	return s, nil
}

// planOptions say which notes are asked for.
type planOptions struct {
	notes   int
	strings string
}

func (o *planOptions) addFlags(fs *pflag.FlagSet) {
	fs.IntVar(&o.notes, "note-count", 12, "ask for `N` notes a string, open notes and harmonics included")
	fs.StringVar(&o.strings, "strings", "", "only these strings, such as `6,5`")
}

func (o *planOptions) make(b *setup.Board, plucks int) (*setup.Plan, error) {
	var numbers []int
	for part := range strings.SplitSeq(o.strings, ",") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		n, err := strconv.Atoi(part)
		if err != nil {
			return nil, usagef("--strings %q: write numbers of strings, such as 6,5", o.strings)
		}
		numbers = append(numbers, n)
	}
	p, err := setup.MakePlan(b, setup.PlanOptions{Notes: o.notes, Strings: numbers, Plucks: plucks})
	if err != nil {
		return nil, usageError{err}
	}
	return p, nil
}

// path is where the check is kept.
func (o *intonationOptions) path() string {
	if o.check.given() {
		return o.check.path
	}
	name := strings.TrimSuffix(filepath.Base(o.name), ".toml")
	return "intonation-" + name + ".json"
}

// errStopped says that the user stopped; what was done is kept.
var errStopped = errors.New("stopped")

// begin takes up the check that is kept, or begins one.
func (o *intonationOptions) begin(chat io.Writer, board *setup.Board, settings setup.Settings) (*setup.Check, error) {
	path := o.path()
	old, err := setup.Load(path)
	switch {
	case err == nil && !o.fresh:
		return o.resume(chat, old, board)
	case err != nil && !isNotExist(err) && o.check.at(path).mayWrite() != nil:
		return nil, hintf(err, "--check names another file; --%s writes over this one", forceFlag)
	}
	plan, err := o.plan.make(board, settings.Plucks)
	if err != nil {
		return nil, err
	}
	c := setup.NewCheck(board, plan, settings)
	c.Started, c.Program, c.Comment = now(), "tunerd "+version(), o.keep.note
	return c, c.Save(path)
}

func (o *intonationOptions) resume(chat io.Writer, old *setup.Check, board *setup.Board) (*setup.Check, error) {
	if !old.Board.Same(board) {
		return nil, hintf(fmt.Errorf("%s is a check of %s, or of this instrument as it was before its file was changed", o.path(), old.Board.Name),
			"--check names another file; --fresh begins anew and overwrites it")
	}
	old.Board = *board // an older file lacks the elasticity of strings
	done, of := old.Progress()
	if done == of {
		fmt.Fprintf(chat, "tunerd: %s is complete; --fresh begins anew\n", o.path())
	} else {
		fmt.Fprintf(chat, "tunerd: going on with %s: %d of %d notes are done; --fresh begins anew\n", o.path(), done, of)
	}
	return old, nil
}
