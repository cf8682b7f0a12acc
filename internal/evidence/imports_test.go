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

// TestBenchReachesNoTransportStoreOrDevice keeps the application what a page can run by itself: how requests come, what
// keeps a journal and what hears are given to it. Package os is below fmt; bench itself does without, and so with the
// executed templates and PDF files that would make a program for a browser half as large again.
func TestBenchReachesNoTransportStoreOrDevice(t *testing.T) {
	beyond := []string{
		"net", "net/http", "os/exec", "os/signal", "database/sql", "html/template", "text/template", "modernc.org", "codeberg.org/go-pdf",
		"github.com/coder/websocket", "github.com/gordonklaus/portaudio", "charm.land", "github.com/spf13",
		"tunerd/internal/device", "tunerd/internal/capture/mic", "tunerd/internal/sound/play", "tunerd/internal/journal/sqlite",
		"tunerd/internal/server", "tunerd/internal/service", "tunerd/internal/command", "tunerd/internal/display/web", "tunerd/internal/display/osc",
		"tunerd/internal/bench/openapi",
	}
	for _, dep := range deps(t, "tunerd/internal/bench") {
		for _, root := range beyond {
			if dep == root || under(dep, root) && dep != "net/url" && dep != "net/netip" && dep != "database/sql/driver" { // these open nothing
				t.Errorf("bench reaches %s", dep)
			}
		}
	}
	for _, direct := range strings.Fields(string(run(t, "go", "list", "-f", "{{join .Imports \" \"}}", "tunerd/internal/bench"))) {
		if direct == "os" || strings.HasPrefix(direct, "os/") || direct == "io/fs" || strings.HasPrefix(direct, "path/filepath") {
			t.Errorf("bench imports %s", direct)
		}
	}
}

// TestBenchCheckSees keeps the check above honest.
func TestBenchCheckSees(t *testing.T) {
	for pkg, dep := range map[string]string{
		"tunerd/internal/server": "net/http", "tunerd/internal/capture/mic": "tunerd/internal/device", "tunerd/internal/journal/sqlite": "database/sql",
		"tunerd/internal/setup/report/html": "html/template", "tunerd/internal/setup/report/pdf": "codeberg.org/go-pdf/fpdf",
	} {
		if !slices.Contains(deps(t, pkg), dep) {
			t.Errorf("go list does not name %s below %s", dep, pkg)
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
