//go:build virtualmic

package command_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"tunerd/internal/setup"
	"tunerd/internal/sound"
	"tunerd/internal/testkit"
)

// TestIntonationAtTheVirtualMicrophone goes through a guided check in a terminal: tmux presses the
// keys, and every note that is asked for is played into the microphone of scripts/virtual-mic.sh.
// Three strings of the bench, one pluck a note; the displaced fret is one that is heard on one
// string only at first, so that the program asks for it on others. Seed 25.
func TestIntonationAtTheVirtualMicrophone(t *testing.T) {
	testkit.NeedVirtualMic(t)
	testkit.NeedTool(t, "tmux", "tmux")
	w := newBench(t)
	plan, err := setup.MakePlan(w.board, setup.PlanOptions{Notes: 10, Strings: []int{2, 5, 6}, Plucks: 1})
	if err != nil {
		t.Fatal(err)
	}
	displaced := loneFret(plan, 20, 31)
	w.fret = map[int]float64{displaced: 0.5}

	dir := t.TempDir()
	b := &benchTerminal{t: t, w: w, dir: dir, rng: rand.New(rand.NewPCG(25, 25)), check: filepath.Join(dir, "check.json")}
	b.start(buildProgram(t), "intonation", "--instrument", "guitar-41edo-alternate", "--rate", "48000",
		"--strings", "2,5,6", "--note-count", "10", "--plucks", "1", "--check", b.check, "--journal", filepath.Join(dir, "journal.db"), "--html", filepath.Join(dir, "a.html"))
	skipped := 0
	asked := 0
	for {
		n, more := b.prompt()
		if !more {
			break
		}
		asked++
		if n.Harmonic == 3 && skipped == 0 {
			skipped++
			b.key("s")
			continue
		}
		b.play(n)
	}
	c, err := setup.Load(b.check)
	if err != nil {
		t.Fatal(err)
	}
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	if asked <= len(plan.Steps) || !c.Confirmed {
		t.Errorf("%d notes were asked for; the plan has %d, and fret %d was to be heard on other strings", asked, len(plan.Steps), displaced)
	}
	for _, s := range r.Strings {
		t.Logf("string %d: nut %+.2f ± %.2f, saddle %+.2f ± %.2f mm, %s", s.Number, s.Place.NutMM, s.PlaceSigma.NutMM, s.Place.SaddleMM, s.PlaceSigma.SaddleMM, s.Verdict)
		if off := s.Place.NutMM - w.nutMM; off > 3*s.PlaceSigma.NutMM || -off > 3*s.PlaceSigma.NutMM || s.PlaceSigma.NutMM > 0.25 {
			t.Errorf("string %d: nut found at %+.2f ± %.2f mm, it is at %+.2f", s.Number, s.Place.NutMM, s.PlaceSigma.NutMM, w.nutMM)
		}
		if off := s.Place.SaddleMM - w.saddle[s.Number]; off > 3*s.PlaceSigma.SaddleMM || -off > 3*s.PlaceSigma.SaddleMM || s.PlaceSigma.SaddleMM > 0.2 {
			t.Errorf("string %d: saddle found at %+.2f ± %.2f mm, it is at %+.2f", s.Number, s.Place.SaddleMM, s.PlaceSigma.SaddleMM, w.saddle[s.Number])
		}
	}
	for _, f := range r.Frets {
		if f.Off != (f.Fret == displaced) {
			t.Errorf("fret %d: off %v (%+.2f ± %.2f mm); only fret %d is", f.Fret, f.Off, f.MM, f.Sigma, displaced)
		}
		if f.Fret == displaced && len(f.Strings) < 2 {
			t.Errorf("fret %d was heard on %v only", f.Fret, f.Strings)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "a.html")); err != nil {
		t.Error(err)
	}
}

// loneFret returns a fret of the plan between two others that one string only is to play.
func loneFret(p *setup.Plan, from, to int) int {
	count := map[int]int{}
	for _, s := range p.Steps {
		count[s.Fret]++
	}
	for k := from; k <= to; k++ {
		if count[k] == 1 {
			return k
		}
	}
	return from
}

// A benchTerminal is the program in a terminal of tmux.
type benchTerminal struct {
	t     *testing.T
	w     *bench
	dir   string
	check string
	rng   *rand.Rand
	seen  int // prompts
}

func (b *benchTerminal) tmux(args ...string) string {
	b.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-L", "tunerd-intonation", "-f", "/dev/null"}, args...)...).CombinedOutput()
	if err != nil {
		b.t.Fatalf("tmux %v: %v\n%s", args, err, out)
	}
	return string(out)
}

func (b *benchTerminal) start(bin string, args ...string) {
	b.t.Helper()
	log := filepath.Join(b.dir, "terminal")
	line := bin + " " + strings.Join(args, " ") + " > " + filepath.Join(b.dir, "out") + "; echo status $? >> " + filepath.Join(b.dir, "ended")
	b.tmux("new-session", "-d", "-x", "160", "-y", "50", "cat")
	b.t.Cleanup(func() { _ = exec.Command("tmux", "-L", "tunerd-intonation", "kill-server").Run() }) // it may have ended
	b.tmux("pipe-pane", "-o", "cat >> "+log)
	b.tmux("respawn-pane", "-k", line)
}

var shownPrompt = regexp.MustCompile(`\[\d+/\d+\] string (\d+), (open|harmonic (\d+)|fret (\d+)):`)

// prompt waits for the next note that is asked for; it is false when the program has ended.
func (b *benchTerminal) prompt() (setup.Note, bool) {
	b.t.Helper()
	for range 600 {
		shown, _ := os.ReadFile(filepath.Join(b.dir, "terminal"))
		all := shownPrompt.FindAllSubmatch(shown, -1)
		if len(all) > b.seen {
			m := all[b.seen]
			b.seen++
			number := func(s []byte) int { n, _ := strconv.Atoi(string(s)); return n }
			return setup.Note{String: number(m[1]), Harmonic: number(m[3]), Fret: number(m[4])}, true
		}
		if status, err := os.ReadFile(filepath.Join(b.dir, "ended")); err == nil {
			if string(status) != "status 0\n" {
				b.t.Fatalf("the program ended with %s\n%s", status, shown)
			}
			return setup.Note{}, false
		}
		time.Sleep(50 * time.Millisecond)
	}
	shown, _ := os.ReadFile(filepath.Join(b.dir, "terminal"))
	b.t.Fatalf("no prompt for 30 s\n%s", shown)
	return setup.Note{}, false
}

func (b *benchTerminal) key(key string) { b.tmux("send-keys", key) }

// play plucks a note, again if the program could not read it.
func (b *benchTerminal) play(n setup.Note) {
	b.t.Helper()
	const rate = 48000
	scene := make([]float64, 2.2*rate)
	b.w.pluck(scene, rate/10, rate, n, 1.8, b.rng)
	for i := range scene {
		scene[i] = 0.4*scene[i] + 1e-4*b.rng.NormFloat64()
	}
	var wav bytes.Buffer
	if err := sound.WriteWAV(&wav, scene, rate, sound.Float32); err != nil {
		b.t.Fatal(err)
	}
	file := filepath.Join(b.dir, "note.wav")
	if err := os.WriteFile(file, wav.Bytes(), 0o644); err != nil {
		b.t.Fatal(err)
	}
	for range 4 {
		testkit.PlayIntoMic(b.t, file)
		for range 20 { // a second to see the next prompt, or the end
			shown, _ := os.ReadFile(filepath.Join(b.dir, "terminal"))
			_, err := os.Stat(filepath.Join(b.dir, "ended"))
			if len(shownPrompt.FindAll(shown, -1)) > b.seen || err == nil {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	shown, _ := os.ReadFile(filepath.Join(b.dir, "terminal"))
	b.t.Fatalf("%s was not read in four plucks\n%s", n.Text(), shown)
}
