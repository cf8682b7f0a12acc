package command_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/setup"
	"tunerd/internal/sound"
	"tunerd/internal/targets"
)

// A bench is a guitar whose every error is known: every second fret of 41 equal steps on 648 mm,
// the saddle 1.5 mm short on strings 2 and 5, the nut 0.3 mm too far from the frets on all strings,
// and fret 12 0.4 mm too near the saddle. It is invented, and sounds by its lengths.
type bench struct {
	board  *setup.Board
	nutMM  float64 // towards the saddle
	saddle map[int]float64
	fret   map[int]float64
	b      []float64
	tuned  []float64 // cents of each open string off its target
}

const benchFret = 12

func newBench(t *testing.T) *bench {
	t.Helper()
	in, err := targets.LoadInstrument("guitar-41edo-alternate")
	if err != nil {
		t.Fatal(err)
	}
	board, err := setup.NewBoard(in)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{
		board: board, nutMM: -0.3, saddle: map[int]float64{2: -1.5, 5: -1.5}, fret: map[int]float64{benchFret: 0.4},
		b:     []float64{4e-5, 6e-5, 8e-5, 1e-4, 1.2e-4, 1.5e-4},
		tuned: []float64{1, -2, 0.5, 3, -1, 2},
	}
}

// hz is partial 1 of a note as the bench sounds it.
func (w *bench) hz(n setup.Note) float64 {
	s := w.board.Strings[n.String-1]
	b := w.b[n.String-1]
	open := s.ScaleMM + w.saddle[n.String] - w.nutMM
	f0 := s.OpenHz * math.Pow(2, w.tuned[n.String-1]/1200) / math.Sqrt(1+b)
	switch {
	case n.Harmonic > 0:
		h := float64(n.Harmonic)
		return h * f0 * math.Sqrt(1+b*h*h)
	case n.Fret > 0:
		r := math.Pow(2, s.Frets[n.Fret-1].Cents/1200)
		stopped := s.ScaleMM/r + w.saddle[n.String] - w.fret[n.Fret]
		return f0 * open / stopped * math.Sqrt(1+b*r*r)
	}
	return f0 * math.Sqrt(1+b)
}

// The hand: plucks of a note differ by a third of a cent, and every pluck starts sharp and falls,
// the harder the sharper.
const (
	handCents  = 0.3
	glideCents = 4.0
	glideTau   = 0.3
)

// pluck adds one pluck of a note to a scene.
func (w *bench) pluck(scene []float64, at, rate int, n setup.Note, dampS float64, rng *rand.Rand) {
	spec := sound.String(w.hz(n) * math.Exp2(handCents*rng.NormFloat64()/1200))
	r := spec.F1Hz / w.board.Strings[n.String-1].OpenHz
	spec.B = w.b[n.String-1] * r * r
	spec.T60 = 5
	spec.GlideCents, spec.GlideTau = glideCents*(1+0.2*rng.NormFloat64()), glideTau
	spec.DampS = dampS
	spec.AddTo(scene, at, float64(rate), rng)
}

// record writes two plucks of every note of the plan into a folder, one file a note.
func (w *bench) record(t *testing.T, dir string, plan *setup.Plan, rng *rand.Rand) {
	t.Helper()
	const rate = 16000
	open := map[int]int{}
	for _, s := range plan.Steps {
		scene := make([]float64, 4.6*rate)
		w.pluck(scene[:2.4*rate], rate/5, rate, s.Note, 1.9, rng)
		w.pluck(scene, 2.5*rate, rate, s.Note, 1.9, rng)
		for i := range scene {
			scene[i] = 0.4*scene[i] + 1e-4*rng.NormFloat64()
		}
		name := fmt.Sprintf("%d-%d.wav", s.String, s.Fret)
		switch {
		case s.Harmonic > 0:
			name = fmt.Sprintf("%d-h%d.wav", s.String, s.Harmonic)
		case s.Fret == 0:
			open[s.String]++
			name = fmt.Sprintf("%d-open-%d.wav", s.String, open[s.String])
		}
		var b bytes.Buffer
		if err := sound.WriteWAV(&b, scene, rate, sound.PCM24); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// found is what is looked at of the JSON of a check.
type found struct {
	Result setup.Result
}

// check compares what was found with what the bench is: within 3 standard errors everywhere, and
// these small enough to be of use.
func (w *bench) check(t *testing.T, r *setup.Result) {
	t.Helper()
	if len(r.Strings) != 6 {
		t.Fatalf("%d strings, want 6", len(r.Strings))
	}
	for _, s := range r.Strings {
		t.Logf("string %d: nut %+.2f ± %.2f, saddle %+.2f ± %.2f mm; move %+.2f ± %.2f, %+.2f ± %.2f mm; now %+.1f, after %+.1f cents; %s", s.Number,
			s.Place.NutMM, s.PlaceSigma.NutMM, s.Place.SaddleMM, s.PlaceSigma.SaddleMM,
			s.Move.NutMM, s.MoveSigma.NutMM, s.Move.SaddleMM, s.MoveSigma.SaddleMM, s.Now.WorstCents, s.After.WorstCents, s.Verdict)
		if math.Abs(s.Place.NutMM-w.nutMM) > 3*s.PlaceSigma.NutMM || s.MoveSigma.NutMM > 0.1 || s.PlaceSigma.NutMM > 0.2 { // a place also has in it what the height of the nut hides
			t.Errorf("string %d: nut found at %+.2f ± %.2f mm, it is at %+.2f", s.Number, s.Place.NutMM, s.PlaceSigma.NutMM, w.nutMM)
		}
		if math.Abs(s.Place.SaddleMM-w.saddle[s.Number]) > 3*s.PlaceSigma.SaddleMM || s.MoveSigma.SaddleMM > 0.09 || s.PlaceSigma.SaddleMM > 0.15 {
			t.Errorf("string %d: saddle found at %+.2f ± %.2f mm, it is at %+.2f", s.Number, s.Place.SaddleMM, s.PlaceSigma.SaddleMM, w.saddle[s.Number])
		}
		if !s.Harmonic.Explained || s.Harmonic.Read != 2 {
			t.Errorf("string %d: harmonics %+v; the stiffness explains both", s.Number, s.Harmonic)
		}
		if short := w.saddle[s.Number] != 0; short != (s.Verdict == setup.Worth) {
			t.Errorf("string %d: verdict %q with the saddle %+.1f mm off", s.Number, s.Verdict, w.saddle[s.Number])
		}
	}
	for _, f := range r.Frets {
		if f.Off != (f.Fret == benchFret) {
			t.Errorf("fret %d: off %v (%+.2f ± %.2f mm)", f.Fret, f.Off, f.MM, f.Sigma)
		}
		if f.Fret == benchFret && (math.Abs(f.MM-0.4) > 3*f.Sigma || f.Sigma > 0.12) {
			t.Errorf("fret %d found at %+.2f ± %.2f mm, it is at +0.40", f.Fret, f.MM, f.Sigma)
		}
	}
}

// TestIntonationFromRecordings synthesises the recordings of a whole check of the bench and runs
// the program over them. Seed 41.
func TestIntonationFromRecordings(t *testing.T) {
	w := newBench(t)
	plan, err := setup.MakePlan(w.board, setup.PlanOptions{})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	takes := filepath.Join(dir, "takes")
	if err := os.Mkdir(takes, 0o755); err != nil {
		t.Fatal(err)
	}
	w.record(t, takes, plan, rand.New(rand.NewPCG(41, 41)))
	bin := buildProgram(t)
	run := exec.Command(bin, "intonation", "--instrument", "guitar-41edo-alternate", "--from", takes, "--thread", "0.7",
		"--json", "--html", filepath.Join(dir, "a.html"), "--pdf", filepath.Join(dir, "a.pdf"), "--check", filepath.Join(dir, "a.json"))
	var out, chat bytes.Buffer
	run.Stdout, run.Stderr = &out, &chat
	if err := run.Run(); err != nil {
		t.Fatalf("%v\n%s", err, chat.String())
	}
	for _, line := range strings.Split(strings.TrimSpace(chat.String()), "\n") {
		if !strings.HasPrefix(line, "tunerd: wrote ") {
			t.Errorf("said %q", line)
		}
	}
	var got found
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	w.check(t, &got.Result)
	checkREADME(t, bin, filepath.Join(dir, "a.json"))
	html, err := os.ReadFile(filepath.Join(dir, "a.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Fret 12 stands 0.", "too near the saddle", "back, away from the nut: 2 ", "eye protection", "licensed technician"} {
		if !bytes.Contains(html, []byte(want)) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if keep := os.Getenv("TUNERD_KEEP"); keep != "" {
		for _, name := range []string{"a.html", "a.pdf", "a.json"} {
			data, _ := os.ReadFile(filepath.Join(dir, name))
			_ = os.WriteFile(filepath.Join(keep, name), data, 0o644)
		}
	}
}

// checkREADME wants what README.md shows of this check to be what the program says of it, to the picture.
func checkREADME(t *testing.T, bin, check string) {
	t.Helper()
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, example, ok := strings.Cut(string(readme), "    $ tunerd intonation guitar-41edo-alternate ")
	example, _, ok2 := strings.Cut(example, "\n\nThat guitar is synthetic")
	if !ok || !ok2 {
		t.Fatal("README.md has no such example")
	}
	drawn := filepath.Join(t.TempDir(), "board.svg")
	said := runOut(t, exec.Command(bin, "intonation", "report", check, "--svg", drawn))
	planned := strings.Join(strings.Fields(runOut(t, exec.Command(bin, "intonation", "plan", "--instrument", "guitar-41edo-alternate"))), " ")
	var number, of, str, fret int
	var label string
	var hz float64
	lines := strings.Split(example, "\n")[1:]
	prompt, cents, ok := strings.Cut(strings.TrimSpace(lines[0]), ": ")
	if n, err := fmt.Sscanf(prompt, "[%d/%d] string %d, fret %d", &number, &of, &str, &fret); n != 4 || err != nil || !ok {
		t.Fatalf("%q is no prompt: %v", lines[0], err)
	}
	label, cents, _ = strings.Cut(cents, ", ")
	if _, err := fmt.Sscanf(cents, "%f Hz", &hz); err != nil {
		t.Fatal(err)
	}
	why := strings.TrimPrefix(strings.TrimSpace(lines[2]), "for ")
	if row := fmt.Sprintf("%d %d %s %.2f %s", str, fret, label, hz, why); !strings.Contains(planned, row) {
		t.Errorf("README.md asks for %q, which is not in the plan", row)
	}
	for _, line := range lines[4:] {
		if line = strings.TrimSpace(line); line != "…" && !strings.Contains(said, line) {
			t.Errorf("README.md has %q, which the report does not say", line)
		}
	}
	want, err := os.ReadFile("../../docs/intonation.svg")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(drawn); err != nil || !bytes.Equal(got, want) {
		t.Errorf("docs/intonation.svg is not what is drawn now (%v)", err)
	}
}

func runOut(t *testing.T, cmd *exec.Cmd) string {
	t.Helper()
	var chat bytes.Buffer
	cmd.Stderr = &chat
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, chat.String())
	}
	return string(out)
}
