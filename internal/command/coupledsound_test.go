package command_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/testscript"

	"tunerd/internal/coupling"
	"tunerd/internal/coupling/simulate"
	"tunerd/internal/sound"
	"tunerd/internal/targets"
)

// A coupledGuitar is the built-in guitar on a floating bridge of known truth, which the program hears only in
// recordings.
type coupledGuitar struct {
	*targets.Instrument
	truth *simulate.Instrument
}

func newCoupledGuitar(ts *testscript.TestScript) coupledGuitar {
	in, err := targets.LoadInstrument("guitar-12edo")
	ts.Check(err)
	prior, _, err := coupling.OfInstrument(in, coupling.FloatingBridge, coupling.UsualBehindMM)
	ts.Check(err)
	kind, err := simulate.KindOf("floating bridge")
	ts.Check(err)
	g := coupledGuitar{in, simulate.New(kind.On(prior.Strings), simulate.Flaws{}, rand.New(rand.NewPCG(11, 0)))}
	g.truth.Start(make([]float64, len(in.Strings)))
	return g
}

// lesson is what the hand does before each recording: string and cents that it is left at.
func (g coupledGuitar) lesson(record func(take, turned int)) {
	record(1, 0)
	take := 1
	for i := range g.Strings {
		at := g.truth.Cents(i)
		for _, to := range []float64{at - 30, at + 2} {
			g.truth.Turn(i, to)
			take++
			record(take, i+1)
		}
	}
}

// coupledSound records the lesson in a folder, strings plucked one after the other, or as strums.
//
//	coupledsound DIR [strum]
func coupledSound(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: coupledsound DIR [strum]")
	}
	g := newCoupledGuitar(ts)
	ts.Check(os.MkdirAll(ts.MkAbs(args[0]), 0o755))
	rng := rand.New(rand.NewPCG(8, 9))
	g.lesson(func(take, turned int) {
		name := fmt.Sprintf("%02d-start.wav", take)
		if turned > 0 {
			name = fmt.Sprintf("%02d-turned-%d.wav", take, turned)
		}
		scene := g.plucked
		if len(args) == 2 {
			scene = g.strummed
		}
		save(ts, filepath.Join(args[0], name), scene(rng))
	})
}

// strummed is the sound of all strings together.
func (g coupledGuitar) strummed(rng *rand.Rand) []float64 {
	scene := make([]float64, 4*scriptRate)
	for i := range g.Strings {
		spec := sound.String(g.Strings[i].Open.Hz * math.Exp2(g.truth.Cents(i)/1200))
		spec.Peak, spec.T60, spec.DampS = 0.1, 8, 3
		spec.AddTo(scene, scriptRate/2+i*scriptRate/100, scriptRate, rng)
	}
	for i := range scene {
		scene[i] += 1e-4 * rng.NormFloat64()
	}
	return scene
}

// plucked is the sound of all strings, one after the other.
func (g coupledGuitar) plucked(rng *rand.Rand) []float64 {
	const each = 7 * scriptRate / 4
	scene := make([]float64, (len(g.Strings)+1)*each)
	for i := range g.Strings {
		spec := sound.String(g.Strings[i].Open.Hz * math.Exp2(g.truth.Cents(i)/1200))
		spec.Peak, spec.DampS = 0.1, 1.2
		at := i*each + scriptRate/2
		spec.AddTo(scene[:at+each], at, scriptRate, rng)
	}
	for i := range scene {
		scene[i] += 1e-4 * rng.NormFloat64()
	}
	return scene
}

// lowered is what the live lesson asks for: each string lowered once, and not brought back.
func (g coupledGuitar) lowered(play func()) {
	play()
	for i := range g.Strings {
		g.truth.Turn(i, g.truth.Cents(i)-30)
		play()
	}
}

// coupledLesson records the live lesson in one piece.
//
//	coupledlesson FILE
func coupledLesson(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: coupledlesson FILE")
	}
	g, rng := newCoupledGuitar(ts), rand.New(rand.NewPCG(10, 9))
	var scene []float64
	g.lowered(func() { scene = append(scene, g.plucked(rng)...) })
	save(ts, args[0], scene)
}

// coupledTruth holds what the program has learned, and its advice, against the instrument itself: strings lose
// what they do when another is turned, and a hand that obeys has all of them in tune after one pass.
//
//	coupledtruth FILE.jsonl [lesson]
func coupledTruth(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 || len(args) > 2 {
		ts.Fatalf("usage: coupledtruth FILE [lesson]")
	}
	g := newCoupledGuitar(ts)
	const small = 10 // cents
	before := make([]float64, len(g.Strings))
	for j := range before {
		before[j] = g.truth.Cents(j)
	}
	loses := make([][]float64, len(g.Strings))
	for i := range g.Strings {
		g.truth.Start(before)
		g.truth.Turn(i, small)
		for j := range g.Strings {
			loses[j] = append(loses[j], -g.truth.Cents(j)/small*100)
		}
	}
	g.truth.Start(before)
	if len(args) == 2 {
		g.lowered(func() {})
	} else {
		g.lesson(func(int, int) {})
	}
	rows, turns := 0, 0
	for _, object := range readObjects(ts, args[0]) {
		switch object["type"] {
		case "coupling":
			rows++
			j := int(object["string"].(float64)) - 1
			for i := range g.Strings {
				v, ok := object[fmt.Sprintf("loses_by_string_%d", i+1)].(float64)
				if i != j && (!ok || math.Abs(v-loses[j][i]) > 1) {
					ts.Fatalf("string %d is said to lose %.2f of 100 cents of string %d; it loses %.2f", j+1, v, i+1, loses[j][i])
				}
			}
		case "turn":
			turns++
			i := int(object["string"].(float64)) - 1
			g.truth.Turn(i, 1200*math.Log2(object["now_hz"].(float64)/g.Strings[i].Open.Hz))
		}
	}
	if rows != len(g.Strings) || turns == 0 {
		ts.Fatalf("%d strings and %d turns are listed", rows, turns)
	}
	for i := range g.Strings {
		if c := g.truth.Cents(i); math.Abs(c) > coupling.InTuneCents {
			ts.Fatalf("string %d is at %+.2f cents after the pass", i+1, c)
		}
	}
}
