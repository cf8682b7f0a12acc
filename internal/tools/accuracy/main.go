// Accuracy measures the window estimator and the live tracker of internal/pitch on seeded synthetic
// strings, prints the tables as Markdown and exits with status 1 if a goal is missed.
//
//	go run ./internal/tools/accuracy [-seed N] [-trials N] [-set small|quick|full|windows|registers|plucks] [-write DIR]
package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"

	"tunerd/internal/accuracy"
	"tunerd/internal/accuracy/reader"
)

// intro opens the written page.
//
//go:embed intro.md
var intro []byte

type options struct {
	seed   uint64
	trials int
	set    string
	dir    string
}

func main() {
	var o options
	flag.Uint64Var(&o.seed, "seed", 1, "seed of all randomness")
	flag.IntVar(&o.trials, "trials", 100, "trials per cell")
	flag.StringVar(&o.set, "set", "quick", "`SET` that is rendered: small, quick, full, or of full only windows, registers or plucks")
	flag.StringVar(&o.dir, "write", "", "write the tables and a picture to accuracy.md and accuracy.svg in `DIR`")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	missed, err := run(ctx, os.Stdout, o)
	if err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
	}
	if err != nil || missed > 0 {
		os.Exit(1)
	}
}

// run writes the report to w and, if wanted, the page, and returns how many goals were missed.
func run(ctx context.Context, w io.Writer, o options) (missed int, err error) {
	report, err := measure(ctx, o)
	if err != nil {
		return 0, err
	}
	goals := accuracy.DefaultGoals()
	if err := report.WriteMarkdown(w, goals); err != nil {
		return 0, err
	}
	return len(report.Failures(goals)), writePage(o.dir, report, goals)
}

func measure(ctx context.Context, o options) (*accuracy.Report, error) {
	set, err := accuracy.SetOf(o.set)
	if err != nil {
		return nil, err
	}
	if err := checkPage(o.dir, set); err != nil {
		return nil, err
	}
	return accuracy.Run(ctx, accuracy.Config{
		SampleRate: reader.SampleRate, Seed: o.seed, Trials: o.trials, New: reader.NewEstimate, NewListen: reader.NewListen,
		Cells: set.Cells, Registers: set.Registers, Plucks: set.Plucks,
	})
}

// checkPage says before the long run whether its page can be written.
func checkPage(dir string, set accuracy.Set) error {
	if dir == "" {
		return nil
	}
	if len(set.Cells) == 0 {
		return errors.New("a page needs windows to draw; give the set small, quick, full or windows")
	}
	info, err := os.Stat(dir)
	if err == nil && !info.IsDir() {
		err = fmt.Errorf("%s is not a directory", dir)
	}
	return err
}

// writePage writes the page and its picture into dir; nothing if dir is empty.
func writePage(dir string, report *accuracy.Report, goals accuracy.Goals) error {
	if dir == "" {
		return nil
	}
	page := bytes.NewBuffer(bytes.Clone(intro))
	var picture bytes.Buffer
	if err := report.WriteMarkdown(page, goals); err != nil {
		return err
	}
	if err := report.WriteSVG(&picture); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "accuracy.md"), page.Bytes(), 0o666); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, "accuracy.svg"), picture.Bytes(), 0o666)
}
