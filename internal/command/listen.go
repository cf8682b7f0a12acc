package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/capture"
	"tunerd/internal/coupling"
	"tunerd/internal/display"
	"tunerd/internal/display/term"
	"tunerd/internal/display/text"
	"tunerd/internal/engine"
	"tunerd/internal/pitch"
	"tunerd/internal/tension"
)

// demoInstrument is what the built-in demo signal plays.
const demoInstrument = "dulcimer-22edo"

type listenOptions struct {
	input    string
	source   sourceOptions
	tuning   tuningOptions
	keep     keepOptions
	all      allStringsOptions
	coupled  passingOptions
	passing  *passing // of coupled
	json     bool
	partials bool
	verbose  bool
	refused  func(atS float64, reason string) // nil: nobody wants to know
	minHz    float64
	maxHz    float64

	risk       riskOptions
	beats      []string
	beatsChord string
	rows       rowsFlag
}

func (o *listenOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.input, "input", "i", "", "`SOURCE` of the sound: mic, mic:NAME, demo, - (standard input) or\na recording in WAV or FLAC (default: mic, or demo if there is none)")
	o.source.addFlags(fs)
	o.tuning.addFlags(fs)
	o.keep.addFlags(fs, false)
	o.tuning.addPlanFlag(fs)
	o.tuning.addCourses(fs)
	o.risk.addFlags(fs)
	o.all.addFlags(fs)
	o.coupled.addFlags(fs)
	fs.StringSliceVar(&o.beats, "beats", nil, "also measure how two `NOTES` beat, such as A2,E3, or strings of the instrument, such as 5,4")
	fs.StringVar(&o.beatsChord, "beats-chord", "", "the `INTERVAL` that these notes are to make, such as 2:3 (default: the plainest near them)")
	fs.BoolVar(&o.json, "json", false, "print every reading as a JSON object on a line of its own")
	fs.BoolVarP(&o.verbose, "verbose", "v", false, "without the screen: say on standard error why what sounds is not taken for a note")
	fs.BoolVar(&o.partials, "partials", false, "with --json, the partials of the strobe in each reading too")
	fs.Var(&o.rows, "rows", rowsHelp)
	addRangeFlags(fs, &o.minHz, &o.maxHz)
}

func newListenCommand(d Deps) *cobra.Command {
	var o listenOptions
	cmd := &cobra.Command{
		Use:   "listen",
		Short: "Show the strobe for a live input",
		Long: `Show the strobe for a live input: one band of stripes for each partial, drifting right when
sharp, left when flat, standing still in tune. Where there is no terminal, plain lines are
printed instead; with --json, one JSON object a reading.

A recording is played at its own speed; with --json it is read at full speed.

Targets that pull strings of an instrument above the pitches in its file come with a caution, and
those beyond 75% of a breaking limit are refused; --accept-risk takes them.

With --coupled, strings that pull on each other (a floating bridge, a banjo, a harp) are tuned in one
pass: pluck each once, and it says what to tune each to now and in which order, so that those
turned later pull it to its target. The strobe then runs against that. What it learns on the way
is kept with the instrument.`,
		Example: `  tunerd listen --tuning 31edo
  tunerd listen --tuning 4:5:6:7 --reference C4=264
  tunerd listen --instrument guitar-12edo --string 6
  tunerd listen --plan g.toml
  tunerd listen --instrument guitar-12edo --all-strings
  tunerd listen --instrument guitar-12edo --coupled --support floating-bridge
  tunerd listen --instrument guitar-12edo --beats 5,4
  tunerd listen --input take.wav --json`,
		Args: inputArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runListen(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runListen(ctx context.Context, d Deps, out, chat io.Writer, o listenOptions) error {
	greeting := o.chooseInput(d)
	plan, err := o.tuning.plan()
	if err != nil {
		return err
	}
	if err := o.all.use(&o.tuning, plan); err != nil {
		return err
	}
	caution, err := o.risk.caution(chat, plan)
	if err != nil {
		return err
	}
	if o.json {
		if err := cautionList(tension.Cautions(plan.changes)).WriteJSON(out); err != nil {
			return err
		}
	}
	onScreen := !o.json && d.ScreenUsable()
	if !onScreen && greeting != "" {
		fmt.Fprintf(chat, "tunerd: %s\n", greeting)
	}
	var log *slog.Logger
	if !onScreen {
		log = chatLogger(chat)
	}
	if o.verbose && log != nil {
		o.refused = tellRefusals(log)
	}
	if o.passing, err = o.coupled.begin(plan.config.Instrument, chat); err != nil {
		return err
	}
	if o.passing != nil {
		o.passing.forget = o.input == "demo"
		caution = joinWords(caution, coupling.Caution)
		if !onScreen {
			fmt.Fprintf(chat, "tunerd: %s\n", coupling.Caution)
		}
	}
	source, err := o.source.open(ctx, d, o.input, o.paced(), log)
	if err != nil {
		return err
	}
	defer source.Close()
	cfg, err := o.sessionConfig(source, plan)
	if err != nil {
		return err
	}
	var session *engine.Session
	warn := func(line string) { fmt.Fprintf(chat, "tunerd: %s\n", line) }
	if onScreen {
		warn = func(line string) { session.Say(line) } // nothing is warned of before the session runs
	} else {
		tellClock(chat, source)
	}
	keeper, err := o.keep.begin(from(plan.session("listen"), source), warn)
	if err != nil {
		return err
	}
	cfg.Sinks = keeper.sinks()
	if onScreen {
		keys := &keys{plan: plan, source: source, options: &o}
		screen := term.New(term.Options{Act: keys.act, Restorer: restorerOfTerminal()})
		cfg.Sinks, cfg.Crash, cfg.Greeting = append(cfg.Sinks, screen), screen.Close, joinWords(caution, greeting)
		session = engine.NewSession(cfg)
		keys.session = session
		err = runScreen(ctx, screen, session, o.tuning.held)
	} else {
		cfg.Sinks = append(cfg.Sinks, o.sink(out))
		session = engine.NewSession(cfg)
		err = runSession(ctx, session, o.tuning.held)
	}
	return cmp.Or(keeper.end(chat), o.passing.end(chat), err) // one line is enough; what is lost is the worse
}

// chooseInput settles what --input leaves open, and returns what the user should be told of it.
func (o *listenOptions) chooseInput(d Deps) (greeting string) {
	if o.input == "" {
		o.input = "mic"
		if !d.HasMicrophone() {
			o.input = "demo"
			greeting = "no microphone found: this is the built-in demo (--input names another source)"
		}
	}
	if o.input == "demo" && o.tuning.instrument == "" && o.tuning.tuning == "" && o.tuning.planFile == "" {
		o.tuning.instrument = demoInstrument
	}
	return greeting
}

// paced tells whether the input is to come at the speed of its sound. Standard input comes as
// fast as whoever writes it wants; a recording turned into JSON has nobody who watches.
func (o *listenOptions) paced() bool {
	return o.input == "demo" || o.input != "-" && !o.json
}

func (o *listenOptions) sink(out io.Writer) engine.Sink {
	if o.json {
		return text.NewReadings(out, o.partials)
	}
	return text.NewLines(out)
}

// tracker returns what hears one note at a time.
func (o *listenOptions) tracker(source capture.Source) (engine.Tracker, error) {
	return pitch.NewTracker(pitch.Config{
		SampleRate: capture.TrueRate(source), MinHz: o.minHz, MaxHz: o.maxHz, Live: true, OnRefused: o.refused,
	})
}

func (o *listenOptions) sessionConfig(source capture.Source, plan *plan) (engine.Config, error) {
	tracker, err := o.tracker(source)
	if err != nil {
		return engine.Config{}, usageError{err}
	}
	resolver, err := plan.resolver()
	if err != nil {
		return engine.Config{}, err
	}
	cfg := engine.Config{
		Source: source, Tracker: tracker, Resolver: resolver, Labels: plan.labels,
		Bands: engine.RatioBands(plan.tuning), Rows: display.Rows(o.rows), Coupled: o.passing.coupled(),
	}
	if o.all.on {
		cfg.Chords = plan.chords()
	}
	if len(o.beats) > 0 {
		notes, err := (&noteReader{plan: plan}).notes(o.beats)
		if err != nil {
			return engine.Config{}, err
		}
		rate := capture.TrueRate(source)
		meter, lower, upper, err := beatMeter(notes, o.beatsChord, rate)
		if err != nil {
			return engine.Config{}, err
		}
		cfg.Beats = &engine.BeatWatch{Meter: meter, Lower: lower.Label, Upper: upper.Label, LowerHz: lower.Hz, UpperHz: upper.Hz, SampleRate: rate}
	}
	return cfg, nil
}

// runSession runs a session without a screen.
func runSession(ctx context.Context, session *engine.Session, held int) error {
	if held != 0 {
		if err := session.Hold(held); err != nil {
			return usageError{err}
		}
	}
	return session.Run(ctx)
}

// runScreen runs a session behind the strobe until the user quits.
func runScreen(ctx context.Context, screen *term.Screen, session *engine.Session, held int) error {
	ctx, quit := context.WithCancel(ctx)
	defer quit()
	ended := make(chan error, 1)
	go func() {
		err := runSession(ctx, session, held)
		if err != nil {
			quit()
		}
		ended <- err
	}()
	err := screen.Run(ctx)
	quit()
	if sessionErr := <-ended; sessionErr != nil && !errors.Is(sessionErr, term.ErrClosed) {
		return sessionErr
	}
	return err
}
