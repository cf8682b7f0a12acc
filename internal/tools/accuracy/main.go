// Accuracy measures the window estimator of internal/pitch on seeded synthetic strings, prints the
// tables as Markdown and exits with status 1 if a goal is missed.
//
//	go run ./internal/tools/accuracy [-seed N] [-trials N] [-set small|quick|full|registers|plucks] [-svg FILE]
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"

	"tunerd/internal/accuracy"
	"tunerd/internal/pitch"
)

const sampleRate = 48000 // Hz

type options struct {
	seed   uint64
	trials int
	set    string
	svg    string
}

func main() {
	var o options
	flag.Uint64Var(&o.seed, "seed", 1, "seed of all randomness")
	flag.IntVar(&o.trials, "trials", 100, "trials per cell")
	flag.StringVar(&o.set, "set", "quick", "`SET` that is rendered: small, quick, full, or of full only registers or plucks")
	flag.StringVar(&o.svg, "svg", "", "write a picture of error against window length to `FILE`")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	missed, err := run(ctx, os.Stdout, o)
	if err != nil {
		fmt.Fprintln(os.Stderr, "accuracy: error:", err)
	}
	if err != nil || missed > 0 {
		os.Exit(1)
	}
}

// run writes the report to w and returns how many goals were missed.
func run(ctx context.Context, w io.Writer, o options) (missed int, err error) {
	set, err := setOf(o.set)
	if err != nil {
		return 0, err
	}
	report, err := accuracy.Run(ctx, accuracy.Config{
		SampleRate: sampleRate, Seed: o.seed, Trials: o.trials, New: newEstimate, NewListen: newListen,
		Cells: set.Cells, Registers: set.Registers, Plucks: set.Plucks,
	})
	if err != nil {
		return 0, err
	}
	goals := accuracy.DefaultGoals()
	if err := report.WriteMarkdown(w, goals); err != nil {
		return 0, err
	}
	return len(report.Failures(goals)), writeSVG(o.svg, report)
}

func setOf(name string) (accuracy.Set, error) {
	switch name {
	case "small":
		return accuracy.Small(), nil
	case "quick":
		return accuracy.Quick(), nil
	case "full":
		return accuracy.Full(), nil
	case "registers":
		return accuracy.Set{Registers: accuracy.Full().Registers}, nil
	case "plucks":
		return accuracy.Set{Plucks: accuracy.Full().Plucks}, nil
	}
	return accuracy.Set{}, fmt.Errorf("set %q is not known; give small, quick, full, registers or plucks", name)
}

// newEstimate makes a window estimator for one worker.
func newEstimate() accuracy.Estimate {
	estimator, err := pitch.NewWindowEstimator(sampleRate)
	if err != nil {
		panic(err) // the sample rate is a constant of this file
	}
	return func(x []float64, _, minHz, maxHz float64) (float64, float64, bool) {
		r, ok := estimator.Estimate(x, minHz, maxHz)
		return r.F1Hz, r.SigmaCents, ok
	}
}

// blockLen is how many samples an input hands over at a time.
const blockLen = 256

// newListen makes a live reader for one worker. It knows one string, the one that is plucked.
func newListen() accuracy.Listen {
	return func(x []float64, rate, targetHz float64, hear func(accuracy.Moment)) {
		tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
		if err != nil {
			panic(err) // the sample rate is a constant of this file
		}
		tracker.Expect(targetHz/math.Sqrt2, []float64{targetHz})
		for at := 0; at < len(x); at += blockLen {
			tracker.Push(x[at:min(at+blockLen, len(x))], int64(at), func(r *pitch.Reading) {
				hear(accuracy.Moment{At: r.At, F1Hz: r.F1Hz, SigmaCents: r.SigmaCents, Sounding: r.State == pitch.Sounding})
			})
		}
	}
}

func writeSVG(name string, report *accuracy.Report) error {
	if name == "" {
		return nil
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := report.WriteSVG(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
