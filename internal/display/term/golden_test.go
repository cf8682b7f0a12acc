package term

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/display"
)

var update = flag.Bool("update", false, "rewrite the golden drawings in testdata")

var depthNames = [...]string{mono: "mono", basic: "16", cube: "256", direct: "direct"}

// TestDrawings compares whole drawings with those in testdata, which a person has looked at.
// To look at one: cat the file. A miss leaves what was drawn beside it, with .got appended.
func TestDrawings(t *testing.T) {
	held := fakeScene(fakeFrame(-4.71, 0.3))
	held.frame.Strings[4].Held = true
	help := fakeScene(fakeFrame(2.1, 0.3))
	help.help = 1
	gap := fakeScene(fakeFrame(2.1, 0.3))
	gap.message = "a gap in the input; 1 so far"
	caution := fakeScene(fakeFrame(2.1, 0.3))
	caution.message = "caution: raises strings 1 to 6; wear eye protection, slacken first if unsure; string 1 (E4) rises by 7.85 cents: " +
		"73.3 N, 54.2% of its breaking limit (before: 72.6 N, 53.7%)"
	paused := fakeScene(fakeFrame(2.1, 0.3))
	paused.paused = true
	ended := afterDeath(fakeFrame(2.1, 0.3), display.Ended)
	ended.ended = true
	unheard := fakeScene(display.Frame{State: display.Silent, LevelDB: -71, Input: "bench microphone", Tuning: "12edo"})
	listening := fakeScene(display.Frame{State: display.Unsure, LevelDB: -38, Input: "bench microphone", Tuning: "12edo"})
	long := fakeScene(fakeFrame(-12.3, 0.3))
	long.frame.Target.Label = "C♯4+2"
	solfege := fakeScene(fakeFrame(0.2, 0.3))
	solfege.frame.Target.Label, solfege.frame.Input = "ソ 7/4", "録音.wav"
	many := fakeScene(fakeFrame(0.2, 0.3))
	many.frame.Strings = fakeStrings("E4", "E4", "B3", "B3", "G3", "G4", "D3", "D4", "A2", "A3", "E2", "E3", "C2")
	many.frame.Strings[8].Active = true
	harmonics := fakeScene(fakeFrame(0.2, 0.3))
	harmonics.frame.Rows = display.HarmonicRows
	settling := fakeScene(fakeFrame(0.08, 0.3))
	settling.frame.SigmaCents, settling.frame.Verdict = 2.1, display.Settling
	doubted, far := fakeScene(fakeDoubt()), fakeScene(fakeDoubt())
	far.frame.Seems, far.frame.Cents = display.Target{}, -402
	oldPair := pairScene(fakePair())
	oldPair.frame.State, oldPair.frame.Beat = display.Silent, display.Beat{}
	newPair := pairScene(fakePair())
	newPair.frame.State, newPair.beat = display.Unsure, display.Beat{}
	several := fakeScene(fakePair())
	several.frame.Pair = display.Pair{}
	together := fakeScene(fakeChord())
	coupled, coupledChord := fakeScene(fakeCoupled(fakeFrame(-20, 0.3))), fakeScene(fakeCoupled(fakeChord()))

	for _, d := range []struct {
		name  string
		scene *scene
		w, h  int
		depth depth
	}{
		{"sharp", fakeScene(fakeFrame(2.1, 0.3)), 80, 24, direct},
		{"sharp", fakeScene(fakeFrame(2.1, 0.3)), 120, 40, cube},
		{"sharp", fakeScene(fakeFrame(2.1, 0.3)), 80, 24, basic},
		{"sharp", fakeScene(fakeFrame(2.1, 0.3)), 300, 80, mono},
		{"flat", held, 80, 24, mono},
		{"flat", held, 120, 40, mono},
		{"in-tune", fakeScene(fakeFrame(0.031, 0.3)), 40, 12, mono},
		{"in-tune", fakeScene(fakeFrame(0.031, 0.3)), 40, 12, direct},
		{"in-tune", fakeScene(fakeFrame(0.031, 0.3)), 60, 16, mono},
		{"too-fast", fakeScene(fakeFrame(-300, 0.3)), 80, 24, mono},
		{"last", afterDeath(fakeFrame(2.1, 0.3), display.Silent), 80, 24, mono},
		{"last", afterDeath(fakeFrame(2.1, 0.3), display.Silent), 40, 12, mono},
		{"lost", afterDeath(fakeFrame(2.1, 0.3), display.Lost), 80, 24, mono},
		{"ended", ended, 80, 24, mono},
		{"silent", unheard, 80, 24, mono},
		{"listening", listening, 80, 24, mono},
		{"gap", gap, 80, 24, mono},
		{"caution", caution, 60, 20, mono},
		{"caution", caution, 120, 40, mono},
		{"paused", paused, 40, 12, mono},
		{"help", help, 40, 12, mono},
		{"help", help, 120, 40, direct},
		{"long-label", long, 80, 24, mono},
		{"wide-label", solfege, 80, 24, mono},
		{"many-strings", many, 60, 20, mono},
		{"many-strings", many, 120, 30, mono},
		{"too-small", held, 39, 12, mono},
		{"harmonics", harmonics, 80, 24, direct},
		{"harmonics", harmonics, 40, 12, mono},
		{"pair", pairScene(fakePair()), 80, 24, direct},
		{"pair", pairScene(fakePair()), 60, 20, mono},
		{"pair", pairScene(fakePair()), 120, 40, mono},
		{"pair", pairScene(fakePair()), 40, 12, mono},
		{"pair-last", oldPair, 80, 24, mono},
		{"pair-waiting", newPair, 80, 24, mono},
		{"several", several, 80, 24, mono},
		{"settling", settling, 80, 24, mono},
		{"settling", settling, 80, 24, direct},
		{"doubted", doubted, 80, 24, direct},
		{"doubted", doubted, 60, 20, mono},
		{"doubted", doubted, 40, 12, mono},
		{"far-off", far, 80, 24, mono},
		{"together", together, 80, 24, direct},
		{"together", together, 120, 40, mono},
		{"together", together, 60, 12, mono},
		{"coupled", coupled, 80, 24, direct},
		{"coupled", coupled, 120, 40, mono},
		{"coupled", coupled, 60, 16, mono},
		{"coupled", coupled, 40, 12, mono},
		{"coupled-together", coupledChord, 80, 24, mono},
		{"coupled-together", coupledChord, 60, 12, mono},
	} {
		name := fmt.Sprintf("%s-%dx%d-%s.txt", d.name, d.w, d.h, depthNames[d.depth])
		t.Run(name, func(t *testing.T) {
			var c canvas
			c.draw(d.scene, d.w, d.h, d.depth)
			compare(t, filepath.Join("testdata", name), string(c.encode())+"\n")
		})
	}
}

func compare(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	if err := os.WriteFile(file+".got", []byte(got), 0o666); err != nil {
		t.Error(err)
	}
	g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			t.Fatalf("%s: row %d is\n%s\x1b[m\nwant\n%s\x1b[m", file, i, g[i], w[i])
		}
	}
	t.Fatalf("%s: %d rows, want %d", file, len(g), len(w))
}
