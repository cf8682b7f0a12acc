package command

import (
	"context"
	"fmt"
	"io"
	"net"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/display/web"
	"tunerd/internal/server"
	"tunerd/internal/targets"
)

// defaultAddress is where the server listens.
const defaultAddress = "127.0.0.1:8440"

type serveOptions struct {
	listenOptions
	address string
}

func (o *serveOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.input, "input", "i", "", "`SOURCE` of the sound: mic, mic:NAME, demo, - (standard input) or\na recording in WAV or FLAC (default: mic, or demo if there is none)")
	o.source.addFlags(fs)
	o.tuning.addFlags(fs)
	addRangeFlags(fs, &o.minHz, &o.maxHz)
	fs.StringVar(&o.address, "listen", defaultAddress, "`ADDRESS:PORT` to listen on; port 0 takes a free one")
}

func newServeCommand(d Deps) *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Show the strobe on a web page of this machine",
		Long: `Show the strobe on a web page that this program serves, and let the page choose instrument,
tuning and string. The page needs no network: it is part of the program. The address is printed
on standard output; docs/server.md describes the stream and the API for other programs.`,
		Example: `  tunerd serve
  tunerd serve --input demo --listen 127.0.0.1:0`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runServe(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runServe(ctx context.Context, d Deps, out, chat io.Writer, o serveOptions) error {
	greeting := o.chooseInput(d)
	if greeting != "" {
		fmt.Fprintf(chat, "tunerd: %s\n", greeting)
	}
	log := chatLogger(chat)
	catalog := server.NewCatalog()
	settings, err := o.tuning.settings(catalog)
	if err != nil {
		return err
	}
	tuner, err := server.NewTuner(server.TunerConfig{
		Catalog: catalog, Settings: settings, MinHz: o.minHz, MaxHz: o.maxHz, Greeting: greeting,
	})
	if err != nil {
		return usageError{err}
	}
	source, err := d.Open(ctx, o.input, o.source.options(o.paced(), log))
	if err != nil {
		return inputError(err, o.input)
	}
	defer source.Close()
	srv, err := server.New(server.Config{
		Tuner: tuner, Catalog: catalog, Page: web.Files(), Guard: server.Guard{Loopback: true}, Version: version(), Log: log,
	})
	if err != nil {
		return err
	}
	var lc net.ListenConfig
	listener, err := lc.Listen(ctx, "tcp", o.address)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	go func() {
		if err := tuner.Run(ctx, source); err != nil {
			stop(err)
		}
	}()
	fmt.Fprintf(out, "http://%s/\n", listener.Addr())
	if err := srv.Serve(ctx, listener); err != nil {
		return err
	}
	if err := context.Cause(ctx); err != context.Canceled {
		return err
	}
	return nil
}

// settings returns the options as what a client could choose. Files that they name join the
// catalog.
func (o *tuningOptions) settings(catalog *server.Catalog) (server.Settings, error) {
	if _, err := o.plan(); err != nil {
		return server.Settings{}, err
	}
	s := server.Settings{
		Instrument: o.instrument, Tuning: o.tuning, Reference: o.reference, String: o.held, Frets: o.frets, ToleranceCents: o.tolerance,
	}
	if o.instrument != "" {
		if _, err := catalog.Instrument(o.instrument); err != nil {
			in, err := targets.LoadInstrument(o.instrument)
			if err != nil {
				return s, usageError{err}
			}
			s.Instrument = catalog.AddInstrument(in)
		}
	}
	if o.tuning != "" {
		if _, err := targets.ParseTuningText(o.tuning); err != nil {
			t, err := targets.ParseTuning(o.tuning)
			if err != nil {
				return s, usageError{err}
			}
			s.Tuning = catalog.AddTuning(t)
		}
	}
	return s, nil
}
