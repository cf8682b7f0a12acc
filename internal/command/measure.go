package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/display"
	"tunerd/internal/display/text"
	"tunerd/internal/engine"
	"tunerd/internal/journal"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

type measureOptions struct {
	source   sourceOptions
	tuning   tuningOptions
	keep     keepOptions
	at       timeFlag
	all      allStringsOptions
	json     bool
	csv      bool
	partials bool
	verbose  bool
	refused  func(atS float64, reason string) // nil: nobody wants to know
	window   windowFlag
	jobs     int
	minHz    float64
	maxHz    float64
}

func (o *measureOptions) addFlags(fs *pflag.FlagSet) {
	o.source.addFlags(fs)
	o.tuning.addFlags(fs)
	o.keep.addFlags(fs, false)
	fs.Var(&o.at, "at", "with --keep: `TIME` of the recordings, such as 2026-01-31 or \"2026-01-31 18:00\"\n(default: as the files say, or when they were last changed)")
	o.tuning.addPlanFlag(fs)
	o.tuning.addCourses(fs)
	o.all.addFlags(fs)
	fs.BoolVar(&o.json, "json", false, "print every note as a JSON object on a line of its own")
	fs.BoolVar(&o.csv, "csv", false, "print comma-separated values with a header line")
	fs.BoolVarP(&o.verbose, "verbose", "v", false, "say on standard error why what sounds is not taken for a note")
	fs.BoolVar(&o.partials, "partials", false, "every tracked partial of each note too")
	fs.Var(&o.window, "window", "take the pitch over `A..B` seconds after each onset, at its centre\n(default: the whole note, settled)")
	fs.IntVar(&o.jobs, "jobs", 0, "read `N` files at a time (default: one per core)")
	addRangeFlags(fs, &o.minHz, &o.maxHz)
}

func newMeasureCommand(d Deps) *cobra.Command {
	var o measureOptions
	cmd := &cobra.Command{
		Use:   "measure FILE...",
		Short: "Measure the notes in recordings",
		Long: `Measure every note in recordings (WAV or FLAC; - is standard input): its pitch with the
uncertainty, and how far it is from its target. Files are read in parallel and printed in the
order given. A recording without a note prints nothing. A file that cannot be read is
reported, the others are still measured, and the exit status is 1.`,
		Example: `  tunerd measure take.wav
  tunerd measure --tuning 31edo --json *.flac
  tunerd measure --instrument guitar-12edo --window 0.3..2 take.wav
  tunerd measure --instrument guitar-12edo --all-strings strum.wav
  tunerd measure --notes "C3 E3 G3" chord.wav`,
		Args: usageArgs(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, files []string) error {
			return runMeasure(cmd.Context(), d, cmd.OutOrStdout(), cmd.ErrOrStderr(), files, o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runMeasure(ctx context.Context, d Deps, out, chat io.Writer, files []string, o measureOptions) error {
	plan, err := o.check(files)
	if err != nil {
		return err
	}
	tellParagraphs(chat, tension.Cautions(plan.changes)) // nothing is refused: the recording is there
	keeper, err := o.keep.begin(o.session(plan, chat, files), func(line string) { fmt.Fprintf(chat, "tunerd: %s\n", line) })
	if err != nil {
		return err
	}
	err = o.measure(ctx, d, out, chat, files, plan, keeper)
	return cmp.Or(keeper.end(chat), err) // one line is enough; what is lost is the worse
}

func (o *measureOptions) measure(ctx context.Context, d Deps, out, chat io.Writer, files []string, plan *plan, keeper *keeper) error {
	progress := &engine.Progress{}
	if d.ErrTerminal() {
		bar := startProgress(chat, progress.Fraction)
		defer bar.end()
		out, chat = bar.over(out), bar.over(chat)
	}
	if o.verbose {
		o.refused = tellRefusals(chatLogger(chat))
	}
	notes := o.writer(out)
	failed := false
	cfg := engine.MeasureConfig{
		Jobs: o.jobs,
		Open: func(ctx context.Context, file string) (capture.Source, error) {
			return o.source.open(ctx, d, file, false, chatLogger(chat))
		},
		NewTracker:  o.newTracker,
		NewResolver: plan.resolver,
		Note: func(n *engine.Note) error {
			if keeper != nil && n.State == pitch.Sounding && n.Match.Standing != targets.Doubted {
				keeper.Add(keptNote(n, o.window.seconds))
			}
			return notes.WriteNote(o.textNote(n))
		},
		Done: func(s engine.Summary) {
			failed = tellSummary(chat, s) || failed
		},
		Progress: progress,
	}
	if o.all.on {
		cfg.NewChords = plan.chords()
	}
	err := engine.Measure(ctx, files, cfg)
	if flushErr := notes.Flush(); err == nil {
		err = flushErr
	}
	switch {
	case errors.Is(err, context.Canceled):
		return errors.New("interrupted; not all was measured")
	case err != nil:
		return err
	case failed:
		return errReported
	}
	return nil
}

// session describes the session of a measurement.
func (o *measureOptions) session(p *plan, chat io.Writer, files []string) journal.Session {
	s := p.session("measure")
	if o.keep.keep {
		s.Started = o.recorded(chat, files)
	}
	if ppm := o.source.clock.ppm; ppm != 0 {
		s.Clock = journal.Clock{PPM: ppm, By: clock.ByUser}
	}
	return s
}

// recorded is when the recordings were made: the first of them, as a session has one time. Zero is now, as
// for what comes through a pipe.
func (o *measureOptions) recorded(chat io.Writer, files []string) time.Time {
	if !o.at.t.IsZero() {
		return o.at.t
	}
	var first, last time.Time
	for _, file := range files {
		at, ok := capture.RecordedAt(file)
		if !ok {
			continue
		}
		if first.IsZero() || at.Before(first) {
			first = at
		}
		if at.After(last) {
			last = at
		}
	}
	switch {
	case first.IsZero():
	case last.Sub(first) > oneSitting:
		fmt.Fprintf(chat, "tunerd: these recordings are of %v to %v and are kept as one session of the first; keep what belongs to one sitting by itself, or give --at\n", shortTime(first), shortTime(last))
	default:
		fmt.Fprintf(chat, "tunerd: the recording is of %v; --at gives another time\n", shortTime(first))
	}
	return first
}

// oneSitting is longer than any sitting takes.
const oneSitting = 24 * time.Hour

// check tells of wrong usage before any file is opened.
func (o *measureOptions) check(files []string) (*plan, error) {
	if err := checkFiles(files); err != nil {
		return nil, err
	}
	switch {
	case o.json && o.csv:
		return nil, usagef("--json and --csv exclude each other")
	case !o.at.t.IsZero() && !o.keep.keep:
		return nil, usagef("--at is the time that readings are kept under; it needs --keep")
	case o.jobs < 0:
		return nil, usagef("--jobs %d is below 1", o.jobs)
	}
	if _, err := o.newTracker(usualRate, nil); err != nil {
		return nil, usageError{err}
	}
	p, err := o.tuning.plan()
	if err != nil {
		return nil, err
	}
	if err := o.all.use(&o.tuning, p); err != nil {
		return nil, err
	}
	if o.all.on && o.window.seconds != [2]float64{} {
		return nil, usagef("--all-strings chooses its own window; leave --window out")
	}
	return p, nil
}

// checkFiles refuses what does not end, and what cannot be read twice.
func checkFiles(files []string) error {
	stdin := 0
	for _, file := range files {
		switch {
		case file == "demo" || file == "mic" || strings.HasPrefix(file, "mic:"):
			return usagef("%s has no end; measure reads recordings (write ./%s for a file of that name)", file, file)
		case file == "-":
			stdin++
		}
	}
	if stdin > 1 {
		return usagef("standard input (-) can be read only once")
	}
	return nil
}

// usualRate is a sample rate at which the flags of pitch are tried, in Hz.
const usualRate = 48000

func (o *measureOptions) newTracker(sampleRate float64, onNote func(*pitch.Note)) (engine.Tracker, error) {
	return pitch.NewTracker(pitch.Config{
		SampleRate: sampleRate, MinHz: o.minHz, MaxHz: o.maxHz,
		Window: o.window.seconds, OnNote: onNote, OnRefused: o.refused,
	})
}

func (o *measureOptions) writer(out io.Writer) text.NoteWriter {
	switch {
	case o.json:
		return text.NewNoteJSON(out)
	case o.csv:
		return text.NewNoteCSV(out, o.partials)
	}
	return text.NewNoteTable(out)
}

// textNote puts n into the form that is written.
func (o *measureOptions) textNote(n *engine.Note) *text.Note {
	target := display.Target(n.Match.Target)
	out := &text.Note{
		File: n.File, Channel: o.source.channel, StartS: n.StartS(), EndS: n.EndS(),
		F1Hz: n.F1Hz, F1SigmaCents: n.SigmaCents, SigmaTerms: engine.SigmaTerms(n.Variance), AttackF1Hz: n.AttackF1Hz, Partial1Hz: n.Partial1Hz,
		Inharmonicity: n.B, SNRdB: n.SNRdB, Clock: display.Clock(n.Clock), Doubt: n.Doubt,
		Target: &target, Cents: n.Match.Cents, CentsSigma: n.SigmaCents, BeatHz: n.Match.BeatHz, State: n.Match.Verdict,
		Standing: display.Standing(n.Match.Standing), Seems: display.Target(n.Match.Seems), SeemsCents: n.Match.SeemsCents,
	}
	if o.partials {
		for _, p := range n.Partials {
			out.Partials = append(out.Partials, text.Partial{
				Number: p.N, Hz: p.Hz, OffCents: p.OffCents, SigmaCents: p.SigmaCents, LevelDB: p.LevelDB,
			})
		}
	}
	return out
}

// tellSummary says what is worth saying of a file on chat, and whether it failed.
func tellSummary(chat io.Writer, s engine.Summary) bool {
	for _, u := range s.Unlisted {
		fmt.Fprintf(chat, "tunerd: %s: also sounding at %.2f s: %.1f Hz, not a string of this instrument\n", s.File, u.AtS, u.Hz)
	}
	switch {
	case s.Err != nil:
		Report(chat, s.Err)
		return true
	case len(s.SeveralS) > 0:
		fmt.Fprintf(chat, "tunerd: %s: several notes sound at %.2f s, and no one of them is told; --all-strings reads the strings of an instrument together\n", s.File, s.SeveralS[0])
	case s.Notes == 0:
		fmt.Fprintf(chat, "tunerd: %s: no note found in it\n", s.File)
	}
	return false
}

// A windowFlag reads A..B in seconds.
type windowFlag struct {
	seconds [2]float64
}

func (w *windowFlag) Type() string { return "A..B" }

func (w *windowFlag) String() string {
	if w.seconds == [2]float64{} {
		return ""
	}
	return fmt.Sprintf("%g..%g", w.seconds[0], w.seconds[1])
}

func (w *windowFlag) Set(text string) error {
	from, to, ok := strings.Cut(text, "..")
	a, errA := strconv.ParseFloat(strings.TrimSpace(from), 64)
	b, errB := strconv.ParseFloat(strings.TrimSpace(to), 64)
	if !ok || errA != nil || errB != nil || !(0 <= a && a < b && b < maxWindow) {
		return errors.New("write two times in seconds, the first before the second, such as 0.3..2")
	}
	w.seconds = [2]float64{a, b}
	return nil
}

// maxWindow is more than any note sounds, in seconds.
const maxWindow = 3600
