package command

import (
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/clock"
	"tunerd/internal/display"
	"tunerd/internal/display/text"
)

// How long is listened, in seconds, if nothing is said.
const (
	toneFor   = 60
	systemFor = 300
)

type clockOptions struct {
	input     string
	source    sourceOptions
	toneHz    float64
	toneError float64
	length    time.Duration
	apply     bool
	device    string
	form      listingOptions
}

func (o *clockOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.input, "input", "i", "mic", "`SOURCE` of the sound: mic, mic:NAME, or with --tone a recording in WAV or FLAC")
	o.source.addInputFlags(fs)
	fs.Float64Var(&o.toneHz, "tone", 0, "compare with a tone of `HZ` that is heard (default: with the clock of the computer)")
	fs.Float64Var(&o.toneError, "tone-error", 0, "`PPM` by which the tone itself may be off (standard uncertainty)")
	fs.DurationVar(&o.length, "for", 0, "listen to `TIME` of sound without a gap, such as 90s or 10m\n(default: 1m to a tone, else 5m; recordings to their end)")
	fs.BoolVar(&o.apply, "apply", false, "without --tone: correct readings by what is found")
	fs.StringVar(&o.device, "device", "", "the recording was made with this `DEVICE`, for which the figure is to be kept")
	o.form.addFlags(fs)
}

func newClockCommand(d Deps) *cobra.Command {
	var o clockOptions
	cmd := &cobra.Command{
		Use:   "clock",
		Short: "Measure by how much a sound card's clock is off",
		Long: `Measure by how much the clock of a sound card is off, in parts per million: 100 ppm are 0.17
cents. With --tone it is compared with a steady tone of known frequency, such as a calibrator, a
time signal station or a tone from a device that is kept in time; not one that the same card
plays. Keep the microphone still: a metre nearer within a minute is 49 ppm. What is found is
kept for the device, and its readings are corrected from then on, which they say.

Without --tone it is compared with the clock of the computer. That cannot tell which of the two
is off, so it is applied only if you say so (--apply), as where a time server keeps the computer.

Ctrl-C ends the measurement; what was heard until then counts.`,
		Example: `  tunerd clock --tone 1000 --tone-error 0.1
  tunerd clock --tone 440 --input take.wav --device "Bench mic"
  tunerd clock --for 10m --apply
  tunerd clock list`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runClock(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	cmd.AddCommand(newClockListCommand(), newClockApplyCommand(), newClockForgetCommand())
	return cmd
}

func (o *clockOptions) check() error {
	switch {
	case o.length < 0:
		return usagef("--for %v is below 0", o.length)
	case !(o.toneError >= 0 && o.toneError <= clock.LimitPPM):
		return usagef("--tone-error %g ppm is not within 0 to %d", o.toneError, clock.LimitPPM)
	case o.toneHz == 0 && o.toneError > 0:
		return usagef("--tone-error needs a tone; name it with --tone")
	case o.toneHz != 0 && o.apply:
		return usagef("--apply is for the clock of the computer; what a tone tells is applied by itself")
	case o.toneHz == 0 && !isMicrophone(o.input):
		return hintf(usagef("%s has no clock to compare with that of the computer", o.input), "--tone HZ compares it with a tone that is in it")
	case o.device != "" && isMicrophone(o.input):
		return usagef("--device is for recordings; the microphone is a device itself")
	}
	if job := o.job(); job.Seconds > 0 && job.Seconds < job.Least() {
		return usagef("--for %v is too short; at least %g s of sound are needed", o.length, job.Least())
	}
	return o.form.check()
}

func (o *clockOptions) job() *clock.Job {
	return &clock.Job{ToneHz: o.toneHz, ToneErrorPPM: o.toneError, Seconds: o.seconds()}
}

func (o *clockOptions) seconds() float64 {
	switch {
	case o.length > 0:
		return o.length.Seconds()
	case !isMicrophone(o.input):
		return 0 // to its end
	case o.toneHz != 0:
		return toneFor
	}
	return systemFor
}

func runClock(ctx context.Context, d Deps, out, chat io.Writer, o clockOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	m, err := o.measure(ctx, d, chat)
	if err != nil {
		return err
	}
	stored, err := o.store(m)
	if err != nil {
		return err
	}
	if o.form.plain() {
		return o.tell(out, m, stored)
	}
	return o.form.write(out, clockListing(m, stored))
}

func (o *clockOptions) measure(ctx context.Context, d Deps, chat io.Writer) (*clock.Measurement, error) {
	source, err := d.Open(ctx, o.input, o.source.options(false, chatLogger(chat)))
	if err != nil {
		return nil, inputError(err, o.input)
	}
	defer source.Close()
	job := o.job()
	if d.ErrTerminal() && job.Seconds > 0 {
		job.Progress = &clock.Progress{}
		bar := startProgress(chat, job.Progress.Fraction)
		defer bar.end()
	}
	m, err := clock.Measure(ctx, source, *job)
	if err != nil {
		return nil, err
	}
	if o.device != "" {
		m.Device = o.device
	}
	return m, nil
}

// store keeps what was measured, if it is known of which device it is.
func (o *clockOptions) store(m *clock.Measurement) (stored bool, err error) {
	if !isMicrophone(o.input) && o.device == "" {
		return false, nil
	}
	return true, editClocks(func(t *clock.Table) error {
		t.Put(m)
		if o.apply {
			return t.ApplySystem(m.Device, m.RateHz)
		}
		return nil
	})
}

// editClocks changes the user's table of sound cards.
func editClocks(change func(*clock.Table) error) error {
	path, err := clock.DefaultPath()
	if err != nil {
		return err
	}
	t, err := clock.Load(path)
	if err != nil {
		return err
	}
	if err := change(t); err != nil {
		return err
	}
	return t.Save(path)
}

// clockListing is a measurement in JSON and CSV; see docs/formats.md.
func clockListing(m *clock.Measurement, stored bool) *text.Listing {
	unknown := math.NaN()
	tone, heard, snr := unknown, unknown, unknown
	if m.By == clock.ByTone {
		tone, heard, snr = m.ToneHz, m.HeardHz, m.SNRdB
	}
	l := &text.Listing{Type: "clock", Rows: [][]any{{
		m.Device, m.RateHz, m.By, m.PPM, m.SigmaPPM, clock.Cents(m.PPM), m.Seconds, m.Gaps, tone, heard, snr, stored,
	}}}
	for _, name := range []string{
		"device", "sample_rate_hz", "by", "ppm", "sigma_ppm", "cents", "seconds", "gaps", "tone_hz", "heard_hz", "snr_db", "stored",
	} {
		l.Columns = append(l.Columns, text.Column{Name: name, Title: name})
	}
	return l
}

// tell writes the result for a person.
func (o *clockOptions) tell(out io.Writer, m *clock.Measurement, stored bool) error {
	against := "the clock of the computer"
	if m.By == clock.ByTone {
		against = fmt.Sprintf("a tone of %g Hz, %.0f dB over the rest", m.ToneHz, m.SNRdB)
	}
	fmt.Fprintf(out, "%s, %d Hz, against %s, for %s s\n", m.Device, m.RateHz, against, display.Plain(m.Seconds, 3))
	if m.Gaps > 0 {
		fmt.Fprintf(out, "sound was lost %d times; this is from the longest stretch without a gap\n", m.Gaps)
	}
	side := "fast: its notes seem flat"
	if m.PPM < 0 {
		side = "slow: its notes seem sharp"
	}
	_, err := fmt.Fprintf(out, "the card is off by %s ± %s ppm, %s by %.3f cents\n%s\n",
		display.PPM(m.PPM, m.SigmaPPM), display.Sigma(m.SigmaPPM), side, math.Abs(clock.Cents(m.PPM)), o.fate(m, stored))
	return err
}

// fate says what becomes of the result.
func (o *clockOptions) fate(m *clock.Measurement, stored bool) string {
	switch {
	case !stored:
		return "not kept, as it is not known which device recorded it: --device NAME says so"
	case m.By == clock.ByTone || o.apply:
		return "kept: readings of this device are corrected from now on (--clock none: not)"
	}
	return "kept but not applied, as it may be the computer that is off; if that is kept in time,\n" +
		"\"tunerd clock apply\" has readings corrected by it"
}

func newClockListCommand() *cobra.Command {
	var o listingOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List what was measured of sound cards",
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(); err != nil {
				return err
			}
			t, err := loadClocks()
			if err != nil {
				return err
			}
			if len(t.Devices) == 0 {
				fmt.Fprintln(cmd.ErrOrStderr(), `tunerd: nothing was measured yet; "tunerd clock --tone HZ" does`)
				return nil
			}
			return o.write(cmd.OutOrStdout(), clockList(t))
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func clockList(t *clock.Table) *text.Listing {
	l := &text.Listing{Type: "device_clock", Columns: []text.Column{
		{Name: "device", Title: "device"}, {Name: "sample_rate_hz", Title: "rate Hz"}, {Name: "by", Title: "by"},
		{Name: "ppm", Title: "ppm", Decimals: 3, Signed: true}, {Name: "sigma_ppm", Title: "±", Decimals: 3, Sigma: true},
		{Name: "cents", Title: "cents", Decimals: 4, Signed: true}, {Name: "tone_hz", Title: "tone Hz", Decimals: 3},
		{Name: "seconds", Title: "s", Decimals: 0}, {Name: "at", Title: "measured"}, {Name: "in_use", Title: "in use"},
	}}
	for i := range t.Devices {
		e := &t.Devices[i]
		used := e.Correction().By
		for _, m := range []struct {
			by string
			*clock.Stored
		}{{clock.ByTone, e.Tone}, {clock.BySystem, e.System}} {
			if m.Stored != nil {
				l.Rows = append(l.Rows, []any{e.Device, e.RateHz, m.by, m.PPM, m.SigmaPPM, clock.Cents(m.PPM), known(m.ToneHz),
					m.Seconds, m.At.Local().Format(time.RFC3339), m.by == used})
			}
		}
	}
	return l
}

func newClockApplyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "apply [DEVICE]",
		Short: "Correct readings by what the computer's clock says of a sound card",
		Args:  usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			return editClocks(func(t *clock.Table) error {
				device, err := onlyDevice(t, args)
				if err != nil {
					return err
				}
				return t.ApplySystem(device, 0)
			})
		},
	}
}

func newClockForgetCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "forget [DEVICE]",
		Short: "Forget what was measured of a sound card",
		Args:  usageArgs(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, args []string) error {
			return editClocks(func(t *clock.Table) error {
				device, err := onlyDevice(t, args)
				if err != nil {
					return err
				}
				return t.Forget(device)
			})
		},
	}
}

// onlyDevice is the device that is named, or the only one that there is.
func onlyDevice(t *clock.Table, args []string) (string, error) {
	if len(args) == 1 {
		return args[0], nil
	}
	names := t.Names()
	switch len(names) {
	case 0:
		return "", hintf(clock.ErrNotMeasured, `"tunerd clock" measures`)
	case 1:
		return names[0], nil
	}
	return "", usagef("there are several devices, name one: %q", names)
}
