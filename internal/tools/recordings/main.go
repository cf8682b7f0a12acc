// Recordings reads a folder of recorded notes with a manifest, whole and live, prints how many were
// read, how well and how honest σ was as Markdown, with a line for each failure.
//
//	go run ./internal/tools/recordings [-variants | -strums | -readings] [-only TEXT] DIR
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"

	"tunerd/internal/accuracy/recorded"
)

func main() {
	spoilt := flag.Bool("variants", false, "read every clip also with noise, hum, a room, other sample rates and so on")
	strums := flag.Bool("strums", false, "read the strums of the folder, all strings at once, also cut and at another sample rate")
	readings := flag.Bool("readings", false, "print every string of the strums of the folder with its reading, one a line")
	only := flag.String("only", "", "read only the clips whose file name or instrument has `TEXT` in it")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "usage: recordings [-variants | -strums | -readings] [-only TEXT] DIR")
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var err error
	if *strums || *readings {
		err = runStrums(ctx, os.Stdout, flag.Arg(0), *only, *readings)
	} else {
		err = run(ctx, os.Stdout, flag.Arg(0), *only, *spoilt)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, w io.Writer, dir, only string, spoilt bool) error {
	all, err := recorded.ReadManifest(dir)
	if err != nil {
		return err
	}
	variants := []recorded.Variant{recorded.Clean}
	if spoilt {
		variants = append(variants, recorded.Variants(all)...)
	}
	clips := slices.DeleteFunc(slices.Clone(all), func(c recorded.Clip) bool {
		return !strings.Contains(c.File(), only) && !strings.Contains(c.Instrument, only)
	})
	outcomes, err := recorded.Run(ctx, clips, variants)
	if err != nil {
		return err
	}
	return recorded.Report(outcomes).WriteMarkdown(w)
}

func runStrums(ctx context.Context, w io.Writer, dir, only string, readings bool) error {
	strums, err := recorded.ReadStrums(dir)
	if err != nil {
		return err
	}
	strums = slices.DeleteFunc(strums, func(s recorded.Strum) bool { return !strings.Contains(s.File(), only) })
	outcomes, err := recorded.RunStrums(ctx, strums, !readings)
	if err != nil {
		return err
	}
	if readings {
		return recorded.WriteReadings(w, outcomes)
	}
	return recorded.WriteStrums(w, outcomes)
}
