// Ablation leaves out, one at a time, what the fit of package stringfit does to be fast or for a last percent, and
// prints what each costs and buys: on the cells of internal/accuracy, all of them rendered alike, and in processor time
// on the same sounds.
//
//	go run ./internal/tools/ablation [-set quick] [-trials 20] [-seed 1] [-rounds 3] [NAME ...]
//
// Names are those of what may be left out; without any, all are.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"time"
)

type options struct {
	set    string
	trials int
	seed   uint64
	rounds int
	names  []string
}

func main() {
	var o options
	flag.StringVar(&o.set, "set", "quick", "`SET` of cells, as of internal/tools/accuracy")
	flag.IntVar(&o.trials, "trials", 20, "trials per cell")
	flag.Uint64Var(&o.seed, "seed", 1, "seed of all randomness")
	flag.IntVar(&o.rounds, "rounds", 3, "times that processor time is measured; the least counts")
	ask := flag.String("answer", "", "answer one `QUESTION` about this build as JSON: used by the program itself")
	without := flag.String("without", "", "what this build leaves out")
	flag.Parse()
	o.names = flag.Args()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var err error
	if *ask != "" {
		err = answer(ctx, os.Stdout, *ask, *without, o)
	} else {
		err = run(ctx, os.Stdout, o)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

// run prints the table.
func run(ctx context.Context, w io.Writer, o options) error {
	dir, err := os.MkdirTemp("", "ablation")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	b := build{path: filepath.Join(dir, "ablation"), options: o}
	if err := b.make(ctx); err != nil {
		return err
	}
	if len(o.names) == 0 {
		if _, err := b.ask(ctx, askNames, "", &o.names); err != nil {
			return err
		}
	}
	shipped, err := b.measure(ctx, "")
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Set %s, %d trials a cell, seed %d. RMSE against the shipped fit, all cells alike; cells and plucks that are worse or better by 5 %% or more; lock is the time until 19 of 20 plucks are within 1 cent.\n\n", o.set, o.trials, o.seed)
	fmt.Fprintln(w, "| without | RMSE | worse | better | coverage % | gross, no reading | lock | goals missed | CPU live | CPU whole |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	shipped.write(w, "(as shipped)", shipped)
	for _, name := range o.names {
		m, err := b.measure(ctx, name)
		if err != nil {
			return err
		}
		m.write(w, name, shipped)
	}
	return nil
}

// A build is this program with the fit's parts as variables.
type build struct {
	path string
	options
}

func (b *build) make(ctx context.Context) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-tags", "ablation", "-o", b.path, "tunerd/internal/tools/ablation")
	cmd.Stderr = os.Stderr
	return cmd.Run()
}

// ask asks the build a question, decodes its answer into to, and returns the processor time that it took.
func (b *build) ask(ctx context.Context, question, without string, to any) (time.Duration, error) {
	cmd := exec.CommandContext(ctx, b.path, "-answer", question, "-without", without,
		"-set", b.set, "-trials", fmt.Sprint(b.trials), "-seed", fmt.Sprint(b.seed))
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	if err := cmd.Run(); err != nil {
		return 0, errors.Join(err, errors.New(complaint.String()))
	}
	return cmd.ProcessState.UserTime(), json.Unmarshal(out.Bytes(), to)
}

// measure measures the build without what is named; "" is as shipped.
func (b *build) measure(ctx context.Context, without string) (m figures, err error) {
	if _, err = b.ask(ctx, askAccuracy, without, &m); err != nil {
		return m, err
	}
	for round := range b.rounds {
		for question, least := range map[string]*time.Duration{askLive: &m.live, askWhole: &m.whole} {
			var nothing int
			took, err := b.ask(ctx, question, without, &nothing)
			if err != nil {
				return m, err
			}
			if round == 0 || took < *least {
				*least = took
			}
		}
	}
	return m, nil
}
