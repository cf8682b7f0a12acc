package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/bench"
	"tunerd/internal/detune"
	"tunerd/internal/display/figure"
	"tunerd/internal/display/osc"
	"tunerd/internal/display/web"
	"tunerd/internal/engine"
	"tunerd/internal/server"
	"tunerd/internal/service"
	"tunerd/internal/setup/report"
	"tunerd/internal/setup/report/html"
	"tunerd/internal/setup/report/pdf"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// browserInput is the input that a web page sends.
const browserInput = "browser"

type serveOptions struct {
	listenOptions
	at      addressOptions
	all     bool
	osc     string
	verbose bool
}

func (o *serveOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.input, "input", "i", "", "`SOURCE` of the sound: mic, mic:NAME, browser (the microphone of the\npage), demo, - (standard input) or a recording in WAV or FLAC\n(default: mic, or demo if there is none)")
	o.source.addFlags(fs)
	o.tuning.addFlags(fs)
	o.tuning.addPlanFlag(fs)
	o.risk.addFlags(fs)
	fs.BoolVar(&o.all, "all-strings", false, "begin with all strings of the --instrument read at once")
	addRangeFlags(fs, &o.minHz, &o.maxHz)
	o.at.addFlags(fs)
	fs.StringVar(&o.osc, "osc", "", "also send readings as Open Sound Control to the UDP port `HOST:PORT`")
	o.keep.addFlags(fs, false)
	fs.BoolVar(&o.verbose, "log-requests", false, "log every request")
}

func newServeCommand(d Deps) *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Show the strobe on a web page of this machine",
		Long: `Show the strobe on a web page that this program serves, and let the page choose instrument,
tuning and string. The page needs no network: it is part of the program. Its address is printed
on standard output; docs/server.md describes the stream and the API for other programs.

The server listens on this machine alone. --listen ADDRESS:PORT lets others in who have the link
that is printed: it carries a token. Browsers give a page its microphone only on the machine
itself or over TLS (--tls).`,
		Example: `  tunerd serve
  tunerd serve --instrument guitar-12edo --osc 127.0.0.1:9000
  tunerd serve --listen 0.0.0.0:8440 --tls --input browser`,
		Args: inputArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runServe(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runServe(ctx context.Context, d Deps, out, chat io.Writer, o serveOptions) error {
	log := o.log(d, chat)
	greeting := o.chooseInput(d)
	if greeting != "" {
		fmt.Fprintf(chat, "tunerd: %s\n", greeting)
	}
	catalog := bench.NewCatalog()
	tuner, err := o.tuner(chat, log, catalog, greeting)
	if err != nil {
		return err
	}
	cfg := server.Config{Tuner: tuner, Page: web.Files(), Log: log}
	run, err := o.openInput(ctx, d, &cfg)
	if err != nil {
		return err
	}
	door, err := o.at.open(ctx)
	if err != nil {
		return err
	}
	defer door.Close()
	cfg.Guard, cfg.TLS = door.guard, door.tls
	cfg.Bench = bench.New(bench.Config{
		Tuner: tuner, Catalog: catalog, Journal: o.keep.onJournal, Reports: reportFiles, Version: version(), Guarded: door.guard.Token != "",
	})
	srv, err := server.New(cfg)
	if err != nil {
		return err
	}
	if err := door.tell(out, chat, d.ErrTerminal()); err != nil {
		return err
	}
	return serve(ctx, log, door, srv, run)
}

// serve runs input and server until ctx ends or one of them fails. A recording that has ended
// leaves the server.
func serve(ctx context.Context, log *slog.Logger, door *door, srv *server.Server, run func(context.Context) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := run(ctx); err != nil {
			stop(err)
		}
	}()
	notify(log, "READY=1\nSTATUS=Serving "+door.url)
	told := make(chan struct{})
	context.AfterFunc(ctx, func() {
		defer close(told)
		notify(log, "STOPPING=1")
	})
	err := srv.Serve(ctx, door)
	stop(err)
	<-ended
	<-told // the process would else end before it
	if cause := context.Cause(ctx); err == nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return err
}

// notify tells the service manager; that it cannot be told is no reason to stop.
func notify(log *slog.Logger, state string) {
	if err := service.Notify(state); err != nil {
		log.Warn("not told", "error", err)
	}
}

// log returns where the server's remarks go: lines for a person, or structured ones.
func (o *serveOptions) log(d Deps, chat io.Writer) *slog.Logger {
	switch {
	case o.verbose:
		return slog.New(slog.NewTextHandler(chat, &slog.HandlerOptions{Level: slog.LevelDebug}))
	case d.ErrTerminal():
		return chatLogger(chat)
	}
	return slog.New(slog.NewTextHandler(chat, nil))
}

func (o *serveOptions) tuner(chat io.Writer, log *slog.Logger, catalog *bench.Catalog, greeting string) (*bench.Tuner, error) {
	plan, err := o.tuning.plan() // says all that is wrong with the options
	if err != nil {
		return nil, err
	}
	all := allStringsOptions{on: o.all}
	if err := all.use(&o.tuning, plan); err != nil {
		return nil, err
	}
	if _, err := o.risk.caution(chat, plan); err != nil { // the page shows it, too
		return nil, err
	}
	settings, err := o.tuning.settings(catalog, plan.moves)
	if err != nil {
		return nil, err
	}
	settings.AllStrings = o.all
	settings.AcceptRisk = tension.Refuse(plan.changes) != nil // or it would have been refused
	cfg := bench.TunerConfig{
		Catalog: catalog, Settings: settings, MinHz: o.minHz, MaxHz: o.maxHz,
		Greeting: greeting, Keep: o.keep.serving(chat, log), Coupling: couplingFiles{}, Log: log,
		FromPage: o.input == browserInput,
	}
	if o.osc != "" {
		sender, err := osc.Dial(o.osc)
		if err != nil {
			return nil, usagef("--osc %s: %w", o.osc, err)
		}
		cfg.Sinks = []engine.Sink{sender}
	}
	tuner, err := bench.NewTuner(cfg)
	if err != nil {
		return nil, usageError{err}
	}
	return tuner, nil
}

// openInput opens the input, and returns what runs the tuner on it.
func (o *serveOptions) openInput(ctx context.Context, d Deps, cfg *server.Config) (func(context.Context) error, error) {
	tuner := cfg.Tuner
	if o.input == browserInput {
		mic := bench.NewMicrophone()
		cfg.Mic = mic
		return func(ctx context.Context) error { return mic.Run(ctx, tuner) }, nil
	}
	source, err := o.source.open(ctx, d, o.input, o.paced(), cfg.Log)
	if err != nil {
		return nil, err
	}
	return func(ctx context.Context) error {
		defer source.Close()
		return tuner.Run(ctx, source)
	}, nil
}

// settings returns the options as what a client could choose. Files that they name join the
// catalog.
func (o *tuningOptions) settings(catalog *bench.Catalog, moves *detune.Plan) (bench.Settings, error) {
	s := bench.Settings{
		Instrument: o.instrument, Tuning: o.tuning, Reference: o.reference, String: o.held, Frets: o.frets, ToleranceCents: o.tolerance,
	}
	if moves != nil {
		s.Instrument, s.Tuning, s.Reference = moves.Instrument.ID, moves.Tuning, moves.Reference
		s.Plan = &bench.Plan{Name: filepath.Base(o.planFile), Cents: moves.Cents}
	}
	if _, err := catalog.Instrument(s.Instrument); err != nil && s.Instrument != "" {
		in, err := targets.LoadInstrument(s.Instrument)
		if err != nil {
			return s, usageError{err}
		}
		s.Instrument = catalog.AddInstrument(fileName(in.ID), in)
	}
	if _, err := targets.ParseTuningText(s.Tuning); err != nil && s.Tuning != "" {
		t, err := targets.ParseTuning(s.Tuning)
		if err != nil {
			return s, usageError{err}
		}
		s.Tuning = catalog.AddTuning(fileName(t.String()), t)
	}
	return s, nil
}

// fileName is the name of a file without its folder and its ending.
func fileName(path string) string {
	base := filepath.Base(path)
	return strings.TrimSuffix(base, filepath.Ext(base))
}

// reportFiles are what a check can be taken home as from the page.
var reportFiles = []bench.ReportFile{
	{Name: "report.html", Type: "text/html; charset=utf-8", Write: html.Write},
	{Name: "report.pdf", Type: "application/pdf", Write: func(w io.Writer, r *report.Report) error {
		paper, err := figure.ParsePaper("a4")
		if err != nil {
			return err
		}
		return pdf.Write(w, r, paper)
	}},
}
