package command_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"tunerd/internal/sound"
)

// TestScripts drives the program as it is built and installed.
//
// Scripts find the recordings of the project in $RECORDINGS, and make sounds of known pitch
// with: pluck FILE HZ SECONDS (a synthetic string, mono, 48 kHz, 24 bits), tone FILE HZ SECONDS (a
// sine), and silence FILE SECONDS.
// What else they may say stands with the functions below.
func TestScripts(t *testing.T) {
	bin := buildProgram(t)
	recordings, err := filepath.Abs("../../testdata/wav")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", filepath.Dir(bin)+string(os.PathListSeparator)+env.Getenv("PATH"))
			env.Setenv("RECORDINGS", recordings)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"pluck": pluck, "tone": tone, "silence": silence,
			"plansound": planSound, "allnear": allNear, "coupledsound": coupledSound, "coupledtruth": coupledTruth, "coupledlesson": coupledLesson, "coupledtuning": coupledTuning,
			"exits": exits, "lines": lines, "fields": fields, "near": near, "cut": cut,
			"touched": touched, "flipbit": flipBit,
		},
	})
}

// buildProgram builds tunerd into a folder of the test and returns its path.
func buildProgram(t testing.TB) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "tunerd")
	if runtime.GOOS == "windows" {
		bin += ".exe"
	}
	build := exec.Command("go", "build", "-o", bin, "tunerd/cmd/tunerd")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return bin
}

const scriptRate = 48000 // Hz

func pluck(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: pluck FILE HZ SECONDS")
	}
	hz, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	// Half a second of silence, the pluck, a hand that stops it, half a second of silence.
	scene := make([]float64, seconds(ts, args[2])+scriptRate)
	spec := sound.String(hz)
	spec.DampS = float64(len(scene)-scriptRate) / scriptRate
	rng := rand.New(rand.NewPCG(1, uint64(hz)))
	spec.AddTo(scene, scriptRate/2, scriptRate, rng)
	peak := 0.0
	for i := range scene {
		peak = max(peak, scene[i], -scene[i])
	}
	for i := range scene {
		scene[i] *= 0.5 / peak
		scene[i] += 1e-4 * rng.NormFloat64()
	}
	save(ts, args[0], scene)
}

func tone(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: tone FILE HZ SECONDS")
	}
	hz, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	samples := make([]float64, seconds(ts, args[2]))
	for i := range samples {
		samples[i] = 0.5 * math.Sin(2*math.Pi*hz/scriptRate*float64(i))
	}
	save(ts, args[0], samples)
}

func silence(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: silence FILE SECONDS")
	}
	save(ts, args[0], make([]float64, seconds(ts, args[1])))
}

// touched FILE TIME makes a file one that was last changed then.
func touched(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: touched FILE TIME")
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", args[1], time.Local)
	ts.Check(err)
	ts.Check(os.Chtimes(ts.MkAbs(args[0]), at, at))
}

// flipBit FILE BYTE flips the lowest bit of a byte.
func flipBit(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: flipbit FILE BYTE")
	}
	at, err := strconv.Atoi(args[1])
	ts.Check(err)
	data, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	data[at] ^= 1
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), data, 0o600))
}

// seconds reads a time and returns it in samples.
func seconds(ts *testscript.TestScript, text string) int {
	s, err := strconv.ParseFloat(text, 64)
	ts.Check(err)
	return int(s * scriptRate)
}

func save(ts *testscript.TestScript, name string, samples []float64) {
	f, err := os.Create(ts.MkAbs(name))
	ts.Check(err)
	err = sound.WriteWAV(f, samples, scriptRate, sound.PCM24)
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	ts.Check(err)
}

// cut copies the first bytes of a file: cut FROM TO BYTES
func cut(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: cut FROM TO BYTES")
	}
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(ts.ReadFile(args[0])[:n]), 0o666))
}

// exits runs a command and wants that exit status: exits STATUS COMMAND...
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS COMMAND...")
	}
	status := 0
	err := ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		status = exit.ExitCode()
	case err != nil:
		ts.Check(err)
	}
	if strconv.Itoa(status) != args[0] {
		ts.Fatalf("exit status %d, want %s", status, args[0])
	}
}

// lines wants that many lines in a file or stdout: lines stdout 3
func lines(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: lines FILE COUNT")
	}
	if n := strings.Count(ts.ReadFile(args[0]), "\n"); strconv.Itoa(n) != args[1] {
		ts.Fatalf("%d lines, want %s", n, args[1])
	}
}

// fields wants the JSON objects of that type in a file or stdout, and wants at least one, to have
// these fields: fields stdout TYPE NAME... A field that is null counts: it is not known.
func fields(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: fields FILE TYPE NAME...")
	}
	found := false
	for i, object := range readObjects(ts, args[0]) {
		if object["type"] != args[1] {
			continue
		}
		found = true
		for _, name := range args[2:] {
			if _, ok := field(object, name); !ok {
				ts.Fatalf("line %d has no %s", i+1, name)
			}
		}
	}
	if !found {
		ts.Fatalf("no object of type %s", args[1])
	}
}

// near wants a number in some line of a file or stdout: near stdout f1_hz 110 0.01
func near(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: near FILE NAME VALUE TOLERANCE")
	}
	want, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	tolerance, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	var seen []any
	for _, object := range readObjects(ts, args[0]) {
		got, _ := field(object, args[1])
		if x, ok := got.(float64); ok && math.Abs(x-want) <= tolerance {
			return
		}
		seen = append(seen, got)
	}
	ts.Fatalf("%s is %v, want %v within %v", args[1], seen, want, tolerance)
}

// readObjects reads JSON Lines; it wants at least one.
func readObjects(ts *testscript.TestScript, file string) []map[string]any {
	var objects []map[string]any
	for line := range strings.Lines(ts.ReadFile(file)) {
		var object map[string]any
		if err := json.Unmarshal([]byte(line), &object); err != nil {
			ts.Fatalf("%q is no JSON object: %v", line, err)
		}
		objects = append(objects, object)
	}
	if len(objects) == 0 {
		ts.Fatalf("%s is empty", file)
	}
	return objects
}

// field finds "hz" or, inside another object, "target.hz".
func field(object map[string]any, name string) (value any, ok bool) {
	outer, inner, nested := strings.Cut(name, ".")
	if !nested {
		value, ok = object[name]
		return value, ok
	}
	within, _ := object[outer].(map[string]any)
	return field(within, inner)
}
