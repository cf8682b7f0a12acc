// Package testkit has what the tests of several packages need of the world around them: the
// recordings and their reference pitch, the virtual microphone, outside tools. Only tests import it.
package testkit

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A Recording is one recorded note of the manifest in testdata/wav.
type Recording struct {
	File     string
	Kind     string  // "pluck" (or hammer) or "sustain"
	Midi     int     // nominal note
	RefHz    float64 // partial 1 under the fitted law, over the window, by another method than tunerd's
	RefSigma float64 // standard uncertainty of RefHz, cents
	Attack   float64 // s from the start of the recording
	From, To float64 // window of the reference, s from the start of the recording
	Flags    []string
}

// WAVDir is the folder of the recordings, from the folder of whatever package is tested.
func WAVDir() string {
	dir := "."
	for range 10 {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		dir = filepath.Join(dir, "..")
	}
	return filepath.Join(dir, "testdata", "wav")
}

// Recordings reads the manifest.
func Recordings() ([]Recording, error) {
	f, err := os.Open(filepath.Join(WAVDir(), "manifest.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	var all []Recording
	for _, row := range rows[1:] {
		r, err := parse(rows[0], row)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, nil
}

func parse(header, row []string) (Recording, error) {
	var err error
	field := func(name string) string {
		i := slices.Index(header, name)
		if i < 0 {
			err = errors.Join(err, fmt.Errorf("manifest.csv has no column %q", name))
			return ""
		}
		return row[i]
	}
	number := func(name string) float64 {
		v, bad := strconv.ParseFloat(field(name), 64)
		err = errors.Join(err, bad)
		return v
	}
	return Recording{
		File:     field("file"),
		Kind:     field("kind"),
		Midi:     int(number("midi")),
		RefHz:    number("ref_f1_hz"),
		RefSigma: number("ref_sigma_cents"),
		Attack:   number("attack_s"),
		From:     number("win_start_s"),
		To:       number("win_end_s"),
		Flags:    strings.Fields(field("flags")),
	}, err
}

// ReferenceHz is the reference pitch of one recording.
func ReferenceHz(t testing.TB, file string) float64 {
	t.Helper()
	all, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all {
		if r.File == file {
			return r.RefHz
		}
	}
	t.Fatalf("%s is not in the manifest", file)
	return 0
}

// must ends a test that lacks something: it fails on a machine that must have everything, and is
// skipped elsewhere.
func must(t testing.TB, lacks string) {
	t.Helper()
	if os.Getenv("TUNERD_CI") != "" {
		t.Fatal(lacks)
	}
	t.Skip(lacks)
}

// NeedTool ends the test where a program is missing.
func NeedTool(t testing.TB, tool, debianPackage string) {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		must(t, fmt.Sprintf("%s is missing (Debian package %s)", tool, debianPackage))
	}
}

// NeedVirtualMic ends the test outside of scripts/virtual-mic.sh.
func NeedVirtualMic(t testing.TB) {
	t.Helper()
	if os.Getenv("VMIC_PULSE_PID") == "" {
		must(t, "run me by: scripts/virtual-mic.sh -- go test -tags virtualmic")
	}
}

// PlayIntoMic plays a WAV file into the virtual microphone, to its end. It may be called from any
// goroutine.
func PlayIntoMic(t testing.TB, path string) {
	out, err := exec.Command("paplay", "--latency-msec=30", "--device=mic", path).CombinedOutput()
	if err != nil {
		t.Errorf("paplay: %v\n%s", err, out)
	}
}

// Table reads a CSV file, such as one of published values, as records by column name.
func Table(t testing.TB, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", path, len(rows), err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		named := map[string]string{}
		for i, column := range rows[0] {
			named[column] = row[i]
		}
		out = append(out, named)
	}
	return out
}

// Number reads a figure of a table.
func Number(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
