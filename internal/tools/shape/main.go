// Shape prints in figures how packages are built, so that what grows is seen: the largest types, functions
// that are longer than a screen, and numbers in function bodies that have no name.
//
//	go run ./internal/tools/shape [-long N] [-numbers] [DIR ...]
//
// A directory stands for itself and all below it; without one, internal/pitch is looked at. Tests are left out.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
)

// tallest is how many lines a function may have, from its first to its last, that is not long.
const tallest = 40

// shown is how many of the largest types are printed.
const shown = 6

func main() {
	long := flag.Int("long", tallest, "lines above which a function is long")
	numbers := flag.Bool("numbers", false, "print each bare number with its place")
	flag.Parse()
	dirs := flag.Args()
	if len(dirs) == 0 {
		dirs = []string{"internal/pitch"}
	}
	if err := run(os.Stdout, dirs, *long, *numbers); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

// run prints the shape of what lies in dirs.
func run(w io.Writer, dirs []string, long int, numbers bool) error {
	var s shape
	for _, dir := range dirs {
		if err := s.addTree(dir, long); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "%d files, %d lines of code and comments\n\nlargest types: fields, methods\n", s.files, s.lines)
	for _, t := range s.largest(shown) {
		fmt.Fprintf(w, "  %3d %3d  %s\n", t.fields, t.methods, t.name)
	}
	fmt.Fprintf(w, "\nfunctions over %d lines: %d of %d\n", long, len(s.long), s.functions)
	for _, f := range s.long {
		fmt.Fprintf(w, "  %3d  %s\n", f.lines, f.name)
	}
	fmt.Fprintf(w, "\nbare numbers in bodies: %d\n", len(s.bare))
	for _, p := range s.perFile() {
		fmt.Fprintf(w, "  %3d  %s\n", p.lines, p.name)
	}
	if numbers {
		for _, b := range s.bare {
			fmt.Fprintf(w, "%v: %s\n", b.at, b.text)
		}
	}
	return nil
}
