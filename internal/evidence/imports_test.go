package evidence

import (
	"slices"
	"strings"
	"testing"
)

// stages are the four parts that know nothing of each other; they meet in internal/engine.
var stages = []string{"tunerd/internal/capture", "tunerd/internal/pitch", "tunerd/internal/targets", "tunerd/internal/display"}

// outside are the roots of what touches devices, terminals or the network.
var outside = []string{"github.com/gordonklaus/portaudio", "charm.land", "github.com/charmbracelet", "golang.org/x/term", "net", "os/exec", "os/signal"}

func TestStagesImportNoneOfEachOther(t *testing.T) {
	for _, stage := range stages {
		for _, dep := range deps(t, stage+"/...") {
			for _, other := range stages {
				if other != stage && under(dep, other) {
					t.Errorf("%s imports %s", stage, dep)
				}
			}
			if under(dep, "tunerd/internal/engine") || under(dep, "tunerd/internal/command") {
				t.Errorf("%s imports %s", stage, dep)
			}
		}
	}
}

func TestEngineArithmeticTouchesNoDevice(t *testing.T) {
	for _, pkg := range []string{"tunerd/internal/pitch", "tunerd/internal/ensemble", "tunerd/internal/targets", "tunerd/internal/sound", "tunerd/internal/beats", "tunerd/internal/fretboard", "tunerd/internal/tension", "tunerd/internal/detune", "tunerd/internal/coupling", "tunerd/internal/setup", "tunerd/internal/stiffstring"} {
		for _, dep := range deps(t, pkg) {
			for _, root := range outside {
				if under(dep, root) {
					t.Errorf("%s imports %s", pkg, dep)
				}
			}
		}
	}
}

// floors lists what a package may know of ours: each stands on those below, and knows none above.
var floors = map[string][]string{
	"tunerd/internal/stiffstring":     nil,
	"tunerd/internal/scratch":         nil,
	"tunerd/internal/pitch/stringfit": {"tunerd/internal/stiffstring", "tunerd/internal/scratch"},
	"tunerd/internal/pitch/accept":    {"tunerd/internal/stiffstring", "tunerd/internal/scratch", "tunerd/internal/pitch/stringfit"},
	"tunerd/internal/pitch/acquire":   {"tunerd/internal/stiffstring", "tunerd/internal/scratch", "tunerd/internal/pitch/stringfit", "tunerd/internal/pitch/accept"},
}

func TestFloorsKnowOnlyThoseBelow(t *testing.T) {
	for floor, below := range floors {
		for _, dep := range deps(t, floor) {
			if dep != floor && under(dep, "tunerd") && !slices.Contains(below, dep) {
				t.Errorf("%s imports %s", floor, dep)
			}
		}
	}
}

// TestImportCheckSees keeps the two checks above honest: where a device and a terminal are
// known to be imported, they are found.
func TestImportCheckSees(t *testing.T) {
	if !slices.Contains(deps(t, "tunerd/internal/capture"), "os") {
		t.Error("go list does not name package os below internal/capture, which opens files")
	}
	if !slices.ContainsFunc(deps(t, "tunerd/internal/display/term"), func(dep string) bool { return under(dep, "charm.land") }) {
		t.Error("go list does not name the terminal library below internal/display/term")
	}
}

func TestCommandIsImportedByMainAlone(t *testing.T) {
	for line := range strings.Lines(string(run(t, "go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "tunerd/..."))) {
		fields := strings.Fields(line)
		if slices.Contains(fields[1:], "tunerd/internal/command") && fields[0] != "tunerd/cmd/tunerd" {
			t.Errorf("%s imports internal/command", fields[0])
		}
	}
}

// deps lists what the packages of a pattern need to be built, themselves included.
func deps(t *testing.T, pattern string) []string {
	t.Helper()
	return strings.Fields(string(run(t, "go", "list", "-deps", pattern)))
}

// under reports whether a package is root or below it.
func under(pkg, root string) bool { return pkg == root || strings.HasPrefix(pkg, root+"/") }
