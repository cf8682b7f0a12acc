package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/capture"
	"tunerd/internal/coupling"
	"tunerd/internal/engine"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

type couplingLearnOptions struct {
	instrument instrumentOptions
	source     sourceOptions
	known      knownOptions
	listing    listingOptions
	from       string
	input      string
	support    string
	behindMM   float64
	allStrings bool
	fresh      bool
}

func (o *couplingLearnOptions) addFlags(fs *pflag.FlagSet) {
	o.instrument.addFlags(fs)
	o.source.addFlags(fs)
	o.known.addFlags(fs)
	o.listing.addFlags(fs)
	fs.StringVar(&o.from, "from", "", "recordings of all strings in folder `DIR`, in the order of time: 01-start.wav,\nthen 02-turned-3.wav, made after string 3 was turned, and so on")
	fs.StringVarP(&o.input, "input", "i", "mic", "listen to `SOURCE`: mic, mic:NAME, a recording of a whole lesson, -")
	fs.StringVar(&o.support, "support", "", "what the strings pull at, `KIND`: "+supportKinds)
	fs.Float64Var(&o.behindMM, "behind", coupling.UsualBehindMM, "`MM` of a string behind nut and bridge, both together")
	fs.BoolVar(&o.allStrings, "all-strings", false, "the strings sound together in a recording, as a strum, not one by one")
	fs.BoolVar(&o.fresh, "fresh", false, "forget what was learned before")
}

const supportKinds = "floating-bridge, banjo, harp, dulcimer, long-neck,\nfixed-bridge, rigid (default: as learned before, or unknown)"

func newCouplingLearnCommand(d Deps) *cobra.Command {
	var o couplingLearnOptions
	cmd := &cobra.Command{
		Use:   "learn INSTRUMENT",
		Short: "Learn how the strings pull on each other, live or from recordings",
		Long: `Learn how the strings of an instrument pull on each other, and say what to tune each to now.

Live, it asks to play all strings one after the other, then to lower string after string by about 30
cents and to play all of them again each time. Ctrl-C ends it; what was heard until then is kept.

With --from, record all strings, one after the other or as a strum (--all-strings), as 01-start.wav. Then lower one
string by about 30 cents, and record all strings again as 02-turned-3.wav if it was string 3; bring it
back, or go on with another one. Every such recording helps; it is enough to lower each string once.

What is learned is kept, and the next session begins with it. If a string moved although nothing was
turned that could have moved it (a peg that slips, a string that creeps), the command says so.`,
		Example: `  tunerd coupling learn my-guitar.toml --support floating-bridge
  tunerd coupling learn my-guitar.toml --support floating-bridge --from takes
  tunerd coupling learn my-guitar.toml --from strums --all-strings`,
		Args: usageArgs(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCouplingLearn(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), args[0], o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runCouplingLearn(ctx context.Context, d Deps, out, chat io.Writer, name string, o couplingLearnOptions) error {
	if err := o.listing.check(); err != nil {
		return err
	}
	if o.allStrings && o.from == "" {
		return usagef("--all-strings is for the recordings of --from; a microphone hears the strings one by one")
	}
	in, err := o.instrument.load(name)
	if err != nil {
		return err
	}
	before, prior, err := o.begin(in, chat)
	if err != nil {
		return err
	}
	l, err := coupling.NewLearner(prior, before)
	if err != nil {
		return hintf(err, "--fresh begins anew")
	}
	learn := o.listen
	if o.from != "" {
		learn = o.hear
	}
	if err := learn(ctx, d, chat, in, l); err != nil {
		return err
	}
	path, err := o.known.save(in, coupling.File{BehindMM: o.behindMM, Known: l.Known(before)})
	if err != nil {
		return err
	}
	fmt.Fprintf(chat, "tunerd: kept in %s\n", path)
	return o.tell(out, in, l)
}

// begin finds what was known, and what is believed because of it.
func (o *couplingLearnOptions) begin(in *targets.Instrument, chat io.Writer) (*coupling.Known, *coupling.Prior, error) {
	support := coupling.Untold
	var before *coupling.Known
	f, _, err := o.known.load(in)
	if err != nil { // also with --fresh: it is not this instrument's, and not to be written over
		return nil, nil, hintf(err, "name another file with --known")
	}
	if f != nil && !o.fresh {
		before, support, o.behindMM = f.Known, f.Known.Support, f.BehindMM
	}
	if o.support != "" {
		if support, err = coupling.ParseSupport(o.support); err != nil {
			return nil, nil, usageError{err}
		}
	}
	prior, estimated, err := coupling.OfInstrument(in, support, o.behindMM)
	if err != nil {
		return nil, nil, err
	}
	if len(estimated) > 0 {
		fmt.Fprintf(chat, "tunerd: %s: stiffness is an estimate; what is learned in cents does not rest on it, millimetres and newtons do\n", tension.StringList(estimated))
	}
	return before, prior, nil
}

// hear reads the recordings in the order of time.
func (o *couplingLearnOptions) hear(ctx context.Context, d Deps, chat io.Writer, in *targets.Instrument, l *coupling.Learner) error {
	if info, err := os.Stat(o.from); err != nil || !info.IsDir() {
		return usagef("--from %s: no such folder", o.from)
	}
	takes, unknown, err := coupling.FindTakes(os.DirFS(o.from))
	if err != nil {
		return fmt.Errorf("%s: %w", o.from, err)
	}
	for _, name := range unknown {
		fmt.Fprintf(chat, "tunerd: %s: its name does not tell what was turned; left out\n", name)
	}
	if len(takes) == 0 {
		return hintf(fmt.Errorf("%s: no recordings of all strings", o.from), "name them 01-start.wav, 02-turned-3.wav (string 3 was turned before it)")
	}
	heard, err := o.readTakes(ctx, d, chat, in, takes)
	if err != nil {
		return err
	}
	for i, t := range takes {
		if err := l.Take(t, heard[i]); err != nil {
			return fmt.Errorf("%s: %w", t.File, err)
		}
		for _, odd := range l.TakeOdd() {
			fmt.Fprintf(chat, "tunerd: %s: %s\n", t.File, odd.Words())
		}
	}
	return nil
}

// readTakes measures the strings in every recording.
func (o *couplingLearnOptions) readTakes(ctx context.Context, d Deps, chat io.Writer, in *targets.Instrument, takes []coupling.Take) ([][]coupling.Reading, error) {
	p, err := (&tuningOptions{tuning: o.instrument.tuning, reference: o.instrument.reference, instrument: in.ID, tolerance: 0.5}).plan()
	if err != nil {
		return nil, err
	}
	paths, at := make([]string, len(takes)), map[string]int{}
	for i, t := range takes {
		paths[i] = filepath.Join(o.from, t.File)
		at[paths[i]] = i
	}
	heard := make([]coupling.Heard, len(takes))
	failed := false
	cfg := engine.MeasureConfig{
		Open: func(ctx context.Context, file string) (capture.Source, error) {
			return o.source.open(ctx, d, file, false, chatLogger(chat))
		},
		NewTracker: func(rate float64, onNote func(*pitch.Note)) (engine.Tracker, error) {
			return pitch.NewTracker(pitch.Config{SampleRate: rate, OnNote: onNote})
		},
		NewResolver: p.resolver,
		Note: func(n *engine.Note) error {
			if n.State == pitch.Sounding && n.Match.String > 0 && n.Match.Standing != targets.Doubted {
				heard[at[n.File]].Add(n.Match.String-1, n.Match.Cents, n.SigmaCents)
			}
			return nil
		},
		Done: func(s engine.Summary) { failed = tellSummary(chat, s) || failed },
	}
	if o.allStrings {
		cfg.NewChords = p.chords()
	}
	err = engine.Measure(ctx, paths, cfg)
	switch {
	case errors.Is(err, context.Canceled):
		return nil, errors.New("interrupted; not all was measured")
	case err != nil:
		return nil, err
	case failed:
		return nil, errReported
	}
	all := make([][]coupling.Reading, len(takes))
	for i := range takes {
		all[i] = heard[i].Readings()
		if missing := heard[i].Missing(len(in.Strings)); len(missing) > 0 {
			fmt.Fprintf(chat, "tunerd: %s: %s not heard\n", takes[i].File, tension.StringList(missing))
		}
	}
	return all, nil
}

// tell says who pulls whom, and the pass from here.
func (o *couplingLearnOptions) tell(out io.Writer, in *targets.Instrument, l *coupling.Learner) error {
	if o.listing.plain() {
		fmt.Fprintln(out, "Cents that a string loses for 100 cents more on another:")
	}
	if err := o.listing.write(out, losesList(in, l)); err != nil || o.listing.csv {
		return err
	}
	pass := l.Pass()
	if o.listing.plain() {
		fmt.Fprintln(out, "\nTurn in this order, to these readings:")
	}
	if err := o.listing.write(out, passList("turn", in, pass)); err != nil {
		return err
	}
	if o.listing.plain() {
		tellPass(out, pass)
	}
	return nil
}
