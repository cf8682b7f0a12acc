//go:build ablation

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"

	"tunerd/internal/accuracy"
	"tunerd/internal/accuracy/reader"
	"tunerd/internal/pitch"
	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/sound"
)

// answer answers a question about the fit without what is named.
func answer(ctx context.Context, w io.Writer, question, without string, o options) error {
	if without != "" {
		if err := stringfit.Ablate(without); err != nil {
			return err
		}
	}
	switch question {
	case askNames:
		return json.NewEncoder(w).Encode(stringfit.Ablations())
	case askAccuracy:
		f, err := measureAccuracy(ctx, o)
		if err != nil {
			return err
		}
		return json.NewEncoder(w).Encode(f)
	case askLive, askWhole:
		return json.NewEncoder(w).Encode(listen(question == askLive))
	}
	return fmt.Errorf("question %q is not known", question)
}

// measureAccuracy runs a set of accuracy cells.
func measureAccuracy(ctx context.Context, o options) (f figures, err error) {
	set, err := accuracy.SetOf(o.set)
	if err != nil {
		return f, err
	}
	report, err := accuracy.Run(ctx, accuracy.Config{
		SampleRate: reader.SampleRate, Seed: o.seed, Trials: o.trials, New: reader.NewEstimate, NewListen: reader.NewListen,
		Cells: set.Cells, Registers: set.Registers, Plucks: set.Plucks,
	})
	if err != nil {
		return f, err
	}
	for _, r := range report.Results {
		f.Covered, f.Read = f.Covered+r.Covered, f.Read+r.Read
		f.Gross, f.Unread = f.Gross+r.Gross, f.Unread+r.Trials-r.Read
		f.Cells = append(f.Cells, cell{r.Cell.String(), finite(r.RMSE)})
	}
	for _, p := range report.Plucks {
		f.Plucks = append(f.Plucks, finite(p.Within(1, 0.95)))
	}
	f.Missed = len(report.Failures(accuracy.DefaultGoals()))
	return f, nil
}

// finite returns x, or 0 where that is no number for JSON.
func finite(x float64) float64 {
	if x-x != 0 {
		return 0
	}
	return x
}

// Sounds that processor time is measured on.
const (
	soundS               = 4                     // s
	soundGlide, soundTau = 4, 0.2                // cents, s
	soundSNR             = 40                    // dB
	pluckedAt            = reader.SampleRate / 5 // samples of silence before it
	repeats              = 20
	blockOf              = 512 // samples
)

// listen reads a low, a middle and a high string, some times over, and returns how many readings there were.
func listen(live bool) int {
	heard := 0
	for _, hz := range []float64{41.203, 110, 329.628} {
		x := make([]float64, soundS*reader.SampleRate)
		s := sound.String(hz)
		s.SNRdB, s.StartS, s.GlideCents, s.GlideTau = soundSNR, 0, soundGlide, soundTau
		s.Render(x[pluckedAt:], reader.SampleRate, rand.New(rand.NewPCG(1, 0)))
		for range repeats {
			tracker, err := pitch.NewTracker(pitch.Config{SampleRate: reader.SampleRate, Live: live, OnNote: func(*pitch.Note) {}})
			if err != nil {
				panic(err) // the sample rate is a constant
			}
			for at := 0; at+blockOf <= len(x); at += blockOf {
				tracker.Push(x[at:at+blockOf], int64(at), func(*pitch.Reading) { heard++ })
			}
			tracker.Flush()
		}
	}
	return heard
}
