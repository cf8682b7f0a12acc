package command_test

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"tunerd/internal/coupling"
	"tunerd/internal/coupling/simulate"
	"tunerd/internal/sound"
	"tunerd/internal/targets"
)

// A coupledHand tunes an instrument of known truth as the program says, which hears nothing but sound.
type coupledHand struct {
	in    *targets.Instrument
	truth *simulate.Instrument
	rng   *rand.Rand
	live  bool                  // time of the stream is not that of what was played
	strum bool                  // all strings are heard after each move, together
	play  func(sound []float64) // makes the program hear, at scriptRate
	lines *bufio.Scanner        // what it says, as JSON Lines
	fail  func(format string, args ...any)

	pass     passSaid
	forecast []passString // of the newest advice before the pass was over
	played   float64      // s
	moves    int
}

// A passSaid is a line with the advice of listen --json --coupled, or any other.
type passSaid struct {
	Type, Phase, Event string
	TS                 float64 `json:"t_s"`
	Next               int
	Strings            []passString
}

type passString struct {
	String        int
	Hear          bool
	NowHz         float64 `json:"tune_to_now_hz"`
	NowCents      float64 `json:"tune_to_now_cents"`
	ForecastCents float64 `json:"forecast_cents"`
	ForecastSigma float64 `json:"forecast_sigma"`
}

const (
	handSigma = 0.2 // cents by which the hand misses
	noteS     = 1.6 // s that a string rings before it is turned, and after it
	pauseS    = 1.2 // long enough for what lies in buffers
)

// newCoupledHand puts the strings of a built-in instrument on the support of a simulated kind, off by up to so
// many cents.
func newCoupledHand(instrument, kind string, support coupling.Support, off float64, seed uint64) (*coupledHand, error) {
	in, err := targets.LoadInstrument(instrument)
	if err != nil {
		return nil, err
	}
	prior, _, err := coupling.OfInstrument(in, support, coupling.UsualBehindMM)
	if err != nil {
		return nil, err
	}
	k, err := simulate.KindOf(kind)
	if err != nil {
		return nil, err
	}
	// The same instrument whatever it is tuned to, and however it is heard.
	h := &coupledHand{in: in, truth: simulate.New(k.On(prior.Strings), simulate.Flaws{}, rand.New(rand.NewPCG(12, 0))), rng: rand.New(rand.NewPCG(seed, 1))}
	start := make([]float64, len(in.Strings))
	for i := range start {
		start[i] = off * (2*h.rng.Float64() - 1)
	}
	h.truth.Start(start)
	return h, nil
}

// ring adds string i from s seconds on, turned from one pitch to another in between, if that is another.
func (h *coupledHand) ring(scene []float64, at int, i int, from, to float64) {
	spec := sound.String(h.in.Strings[i].Open.Hz * math.Exp2(from/1200))
	spec.Peak, spec.T60, spec.DampS = 0.1, 8, float64(len(scene)-at)/scriptRate-pauseS
	if to != from {
		spec.Ramp = sound.Ramp{Start: noteS - 0.3, End: noteS, Cents: to - from}
	}
	spec.AddTo(scene, at, scriptRate, h.rng)
}

// hear lets the program hear a scene, and takes in what it says of it.
func (h *coupledHand) hear(scene []float64) {
	for i := range scene {
		scene[i] += 1e-4 * h.rng.NormFloat64()
	}
	begun, length := h.played, float64(len(scene))/scriptRate
	h.play(scene)
	start := time.Now()
	h.played += length
	for h.lines.Scan() {
		var said passSaid
		if err := json.Unmarshal(h.lines.Bytes(), &said); err != nil {
			h.fail("%v: %s", err, h.lines.Text())
			return
		}
		if said.Type == "pass" {
			if h.pass = said; said.Phase == string(coupling.Turning) {
				h.forecast = said.Strings
			}
		}
		passed := said.TS - begun
		if h.live {
			passed = time.Since(start).Seconds()
		}
		if said.Event == "silence" && passed > length-pauseS-0.3 {
			return
		}
	}
	h.fail("the program has ended")
}

// sounds lets string i ring, turned to a pitch if that is another one; a strum lets all ring, after the turn.
func (h *coupledHand) sounds(i int, to float64) {
	from := h.truth.Cents(i)
	h.truth.Turn(i, to)
	length := noteS + pauseS
	if !h.strum && to != from {
		length += noteS
	}
	scene := make([]float64, int(length*scriptRate))
	if !h.strum {
		h.ring(scene, 0, i, from, to)
		h.hear(scene)
		return
	}
	for k := range h.in.Strings {
		h.ring(scene, k*scriptRate/100, k, h.truth.Cents(k), h.truth.Cents(k))
	}
	h.hear(scene)
}

// tune obeys until all strings are said to be in tune after the first pass, or are to be heard again. It returns
// how many moves that took.
func (h *coupledHand) tune() {
	for range 40 {
		switch h.pass.Phase {
		case string(coupling.InTune):
			return
		case string(coupling.Turning):
			i := h.pass.Next - 1
			h.moves++
			h.sounds(i, h.pass.Strings[i].NowCents+handSigma*h.rng.NormFloat64())
			if h.pass.Phase != string(coupling.Turning) {
				return
			}
		default: // hear what it has not heard
			i := slices.IndexFunc(h.pass.Strings, func(s passString) bool { return s.Hear })
			i = max(i, 0)
			h.sounds(i, h.truth.Cents(i))
		}
	}
	h.fail("it does not come to an end: %+v", h.pass)
}

// check holds every string to within a cent of its target or to its forecast, ±1.96σ.
func (h *coupledHand) check() {
	for i := range h.in.Strings {
		f, c := h.forecast[i], h.truth.Cents(i)
		if math.Abs(c) > coupling.InTuneCents && math.Abs(c-f.ForecastCents) > 1.96*f.ForecastSigma {
			h.fail("string %d ends at %+.2f cents after %d moves; forecast was %+.2f ± %.2f", i+1, c, h.moves, f.ForecastCents, f.ForecastSigma)
		}
	}
}

// coupledTuning has a hand tune an instrument as the program says through a pipe, in one pass, in at most so many
// moves.
//
//	coupledtuning INSTRUMENT KIND SUPPORT OFF MOVES KNOWN.json [strum]
func coupledTuning(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 6 {
		ts.Fatalf("usage: coupledtuning INSTRUMENT KIND SUPPORT OFF MOVES KNOWN [strum]")
	}
	h, err := newCoupledHand(args[0], args[1], coupling.Support(args[2]), number(ts, args[3]), uint64(len(args)))
	ts.Check(err)
	h.strum, h.fail = len(args) > 6, ts.Fatalf
	line := []string{"listen", "--input", "-", "--raw", "f32le", "--rate", fmt.Sprint(scriptRate), "--json", "--coupled",
		"--instrument", args[0], "--support", args[2], "--known", ts.MkAbs(args[5])}
	if h.strum {
		line = append(line, "--all-strings")
	}
	program := exec.Command(filepath.Join(strings.Split(ts.Getenv("PATH"), string(os.PathListSeparator))[0], "tunerd"), line...)
	program.Stderr = os.Stderr
	in, err := program.StdinPipe()
	ts.Check(err)
	out, err := program.StdoutPipe()
	ts.Check(err)
	ts.Check(program.Start())
	ts.Defer(func() { _ = program.Process.Kill() }) // where the test has ended before it
	h.lines = bufio.NewScanner(out)
	h.lines.Buffer(nil, 1<<20)
	var writing sync.WaitGroup
	h.play = func(sound []float64) {
		samples := make([]float32, len(sound))
		for i, x := range sound {
			samples[i] = float32(x)
		}
		writing.Go(func() { // what it says has to be read meanwhile
			if err := binary.Write(in, binary.LittleEndian, samples); err != nil {
				fmt.Fprintln(os.Stderr, err)
			}
		})
	}
	h.tune()
	h.check()
	if h.moves > int(number(ts, args[4])) {
		ts.Fatalf("it took %d moves", h.moves)
	}
	ts.Logf("%d moves", h.moves)
	var said sync.WaitGroup
	said.Go(func() { _, _ = io.Copy(io.Discard, out) }) // it ends with the program
	writing.Wait()
	ts.Check(in.Close())
	said.Wait()
	ts.Check(program.Wait())
}

func number(ts *testscript.TestScript, word string) float64 {
	x, err := strconv.ParseFloat(word, 64)
	ts.Check(err)
	return x
}
