package engine

import (
	"context"
	"runtime"
	"sync"

	"tunerd/internal/capture"
)

// PluckFilesConfig says how PluckFiles reads recordings.
type PluckFilesConfig struct {
	Open       func(ctx context.Context, file string) (capture.Source, error)
	NewTracker func(sampleRate float64) (Tracker, error) // for live readings; Hz, true
	Expect     func(file string) (lowest float64, hz []float64)
	Window     [2]float64 // s after each onset
	Progress   *Progress  // may be nil
}

// PluckFile is what one recording holds.
type PluckFile struct {
	File     string
	Plucks   []Pluck
	Short    int   // notes that ended before they could be read
	Unsteady int   // notes that could not be read though they rang long enough
	Err      error // why it could not be read, or not to its end
}

// PluckFiles reads the plucks in recordings, several files at a time, as a Listener reads those of a
// live input: the same moment of each in the same way. The error is that of ctx.
func PluckFiles(ctx context.Context, files []string, cfg PluckFilesConfig) ([]PluckFile, error) {
	cfg.Progress.expect(len(files))
	all := make([]PluckFile, len(files))
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i, file := range files {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			all[i] = PluckFile{File: file}
			part := progressPart{whole: cfg.Progress}
			defer part.finish()
			if ctx.Err() == nil {
				all[i].Err = all[i].read(ctx, &cfg)
			}
		})
	}
	wg.Wait()
	return all, ctx.Err()
}

func (f *PluckFile) read(ctx context.Context, cfg *PluckFilesConfig) error {
	source, err := cfg.Open(ctx, f.File)
	if err != nil {
		return err
	}
	defer source.Close()
	rate := capture.TrueRate(source)
	tracker, err := cfg.NewTracker(rate)
	if err != nil {
		return err
	}
	l, err := NewListener(ListenerConfig{SampleRate: rate, Tracker: tracker, Window: cfg.Window})
	if err != nil {
		return err
	}
	l.Expect(cfg.Expect(f.File))
	return l.Run(ctx, source, func(h Heard) {
		switch {
		case h.Pluck != nil:
			f.Plucks = append(f.Plucks, *h.Pluck)
		case h.Unread == TooShort:
			f.Short++
		case h.Unread != "":
			f.Unsteady++
		}
	})
}
