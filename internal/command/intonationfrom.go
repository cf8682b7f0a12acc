package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/engine"
	"tunerd/internal/journal"
	"tunerd/internal/pitch"
	"tunerd/internal/setup"
)

// readRecordings measures the recordings of a folder and files their notes.
func (o *intonationOptions) readRecordings(ctx context.Context, d Deps, chat io.Writer, board *setup.Board, settings setup.Settings) (*setup.Check, []string, error) {
	if info, err := os.Stat(o.from); err != nil || !info.IsDir() {
		return nil, nil, usagef("--from %s: no such folder", o.from)
	}
	if err := o.check.mayWrite(); err != nil {
		return nil, nil, err
	}
	recordings, unknown, err := setup.FindRecordings(os.DirFS(o.from))
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", o.from, err)
	}
	for _, name := range unknown {
		fmt.Fprintf(chat, "tunerd: %s: its name does not tell string and fret; left out\n", name)
	}
	if len(recordings) == 0 {
		return nil, nil, hintf(fmt.Errorf("%s: no recordings of notes", o.from), "name them 6-open.wav, 6-12.wav (string-fret), 6-h2.wav (harmonic), or write a manifest.csv")
	}
	takes, err := o.takes(ctx, d, chat, board, recordings, settings)
	if err != nil {
		return nil, nil, err
	}
	check, warnings, err := setup.PutRecordings(board, recordings, takes, settings)
	if err != nil {
		return nil, nil, err
	}
	check.Program, check.Comment, check.Started = "tunerd "+version(), o.keep.note, now()
	for _, w := range warnings {
		fmt.Fprintf(chat, "tunerd: %s\n", w)
	}
	if o.check.given() {
		if err := o.check.writeFrom(chat, check.Write); err != nil {
			return nil, nil, err
		}
	}
	return check, warnings, o.keepRecordings(chat, check)
}

// keepRecordings keeps the plucks of a check that was read from recordings, if asked to.
func (o *intonationOptions) keepRecordings(chat io.Writer, check *setup.Check) error {
	k, err := o.beginKeeping(chat, func(s journal.Session) journal.Session { return s })
	if err != nil {
		return err
	}
	for _, e := range check.Entries {
		for _, p := range e.Plucks {
			keepPluck(k, check, e.Note, p)
		}
	}
	return keepResult(k, chat, check)
}

// takes reads every pluck of the recordings over the window after its onset.
func (o *intonationOptions) takes(ctx context.Context, d Deps, chat io.Writer, board *setup.Board, recordings []setup.Recording, settings setup.Settings) ([]setup.Pluck, error) {
	names := setup.Files(recordings)
	paths := make([]string, len(names))
	for i, name := range names {
		paths[i] = filepath.Join(o.from, filepath.FromSlash(name))
	}
	progress := &engine.Progress{}
	if d.ErrTerminal() {
		bar := startProgress(chat, progress.Fraction)
		defer bar.end()
		chat = bar.over(chat)
	}
	files, err := engine.PluckFiles(ctx, paths, engine.PluckFilesConfig{
		Open: func(ctx context.Context, file string) (capture.Source, error) {
			return o.source.open(ctx, d, file, false, chatLogger(chat))
		},
		NewTracker: liveTracker,
		Expect: func(file string) (float64, []float64) {
			return board.ExpectIn(recordings, names[slices.Index(paths, file)])
		},
		Window: settings.Window, Progress: progress,
	})
	if err != nil {
		return nil, errors.New("interrupted; not all was measured")
	}
	var takes []setup.Pluck
	failed := false
	for i, f := range files {
		for _, p := range f.Plucks {
			takes = append(takes, pluckOf(&p.Reading, names[i], p.OnsetS))
		}
		if f.Err != nil {
			Report(chat, f.Err)
			failed = true
		}
		if f.Short > 0 {
			fmt.Fprintf(chat, "tunerd: %s: %s too short, over before %g s; left out\n", names[i], display.Count(f.Short, "note"), settings.Window[1])
		}
		if f.Unsteady > 0 {
			fmt.Fprintf(chat, "tunerd: %s: %s not steady until %g s; left out\n", names[i], display.Count(f.Unsteady, "note"), settings.Window[1])
		}
	}
	if failed && len(takes) == 0 {
		return nil, errReported
	}
	return takes, nil
}

func liveTracker(sampleRate float64) (engine.Tracker, error) {
	return pitch.NewTracker(pitch.Config{SampleRate: sampleRate, Live: true})
}

func pluckOf(r *pitch.Reading, source string, atS float64) setup.Pluck {
	return setup.Pluck{
		F1Hz: r.F1Hz, SigmaCents: r.SigmaCents, B: r.B, BSigma: r.BSigma, SNRdB: r.SNRdB, Source: source, AtS: atS,
	}
}
