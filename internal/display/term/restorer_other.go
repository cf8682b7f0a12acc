//go:build !unix

package term

import (
	"os"
	"os/exec"
)

var ignoredByRestorer = []os.Signal{os.Interrupt}

func apart(*exec.Cmd) {}

// Signals that end a program with a dump are those of Unix.
var fatalSignals []os.Signal

func dieOf(os.Signal) {}
