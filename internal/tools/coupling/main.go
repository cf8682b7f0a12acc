// Coupling tunes simulated instruments whose strings pull on each other, as advised and round and round, prints
// how many moves that takes and what is in tune after one pass as a Markdown table, and exits with status 1
// if a goal is missed.
//
//	go run ./internal/tools/coupling [-seed N] [-count N] [-kind NAME]
package main

import (
	"flag"
	"fmt"
	"os"

	"tunerd/internal/coupling/simulate"
)

func main() {
	seed := flag.Uint64("seed", 1, "seed of all randomness")
	count := flag.Int("count", 100, "instruments of a row; of harps and dulcimers a quarter, of 60 pegs a fortieth")
	kind := flag.String("kind", "", "only instruments of this `NAME`, such as \"banjo\"")
	flag.Parse()
	if flag.NArg() > 0 || *count < 1 {
		fmt.Fprintln(os.Stderr, "error: no arguments, and a count of at least 1")
		os.Exit(2)
	}
	var kinds []string
	if *kind != "" {
		if _, err := simulate.KindOf(*kind); err != nil {
			fmt.Fprintln(os.Stderr, "error:", err)
			os.Exit(2)
		}
		kinds = []string{*kind}
	}
	rows, err := simulate.Rows(*count, *seed, kinds...)
	missed := 0
	if err == nil {
		missed, err = simulate.Print(os.Stdout, rows)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
	}
	if err != nil || missed > 0 {
		os.Exit(1)
	}
}
