package setup

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/targets"
	"tunerd/internal/tension"
	"tunerd/internal/testkit"
)

// fleetSize is how many instruments TestFleet invents, over all that are built in.
var fleetSize = flag.Int("instruments", 60, "how many instruments are invented")

// fleetSeed makes other instruments.
var fleetSeed = flag.Int("seed", 13, "which instruments are invented")

// What a check must reach over invented instruments.
const (
	mostFalse  = 0.005 // of sound instruments on which a fret is accused
	leastFound = 0.90  // of frets 0.4 mm off their places
	fretOffMM  = 0.4
)

// moveCover is what part of the moves lie within 1.96 standard errors of the truth.
var moveCover = [2]float64{0.92, 0.97}

// fretted are the built-in instruments that have frets.
var fretted = []string{"guitar-12edo", "guitar-41edo-alternate", "bass-5-12edo", "bass-31edo", "ukulele-12edo", "dulcimer-22edo"}

// invent makes an instrument with a nut 0 to 1.2 mm high, relief of 0 to 0.3 mm and a hand of 0 to
// 1 cent, its strings as its file says but for what nobody knows of them.
func invent(t testing.TB, b *Board, rng *rand.Rand) *world {
	t.Helper()
	w := newWorld(b)
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	nut := between(0, 1.2)
	w.hand, w.bow, w.finger = between(0, 1), between(0, 0.3), between(2, 8)
	for i := range b.Strings {
		w.pitch[i] = 5 * rng.NormFloat64()
		w.b[i] = 1e-4 * math.Exp(0.5*rng.NormFloat64())
		w.action[i] = min(max(2+0.3*rng.NormFloat64(), 1.2), 3)
		w.elastic[i] = stretchOf(t, b, i, rng)
		// About where a builder puts them, with the nut still at 0.3 mm.
		best := w.bestMove(i)
		w.ends[i] = Ends{NutMM: best.NutMM + 0.4*rng.NormFloat64(), SaddleMM: best.SaddleMM + 1.5*rng.NormFloat64()}
		w.height[i] = max(nut+0.1*rng.NormFloat64(), 0)
		for k := range b.Strings[i].Frets {
			if _, ok := w.fret[k+1]; !ok {
				w.fret[k+1] = UsualModel.SlotMM * rng.NormFloat64()
			}
		}
	}
	return w
}

// stretchOf returns E·A/T of a string of which its file says all that it says, and chance the rest:
// the steel (190 to 207 GPa, as data sheets of music wire have it), cores within 3 % of what the
// file says or 0.39 to 0.55 of the gauge, and for nylon one of the measured strings.
func stretchOf(t testing.TB, b *Board, i int, rng *rand.Rand) float64 {
	in, err := targets.LoadInstrument(b.ID)
	if err != nil {
		t.Fatal(err)
	}
	s := in.Strings[b.Strings[i].Number-1]
	if s.Material == "nylon" {
		rows := testkit.Table(t, "testdata/per_fret_model.csv")
		return testkit.Number(t, rows[rng.IntN(len(rows))]["kappa_published"])
	}
	young := (190 + 17*rng.Float64()) * 1e9
	speed := 2 * s.ScaleLengthMM / 1000 * b.Strings[i].OpenHz
	if s.Material == "plain steel" {
		return young / (7850 * speed * speed)
	}
	core := s.CoreMM * (1 + 0.03*rng.NormFloat64())
	if core == 0 {
		core = s.GaugeMM * (0.39 + 0.16*rng.Float64())
	}
	return young * math.Pi / 4 * core * core * 1e-6 / (tension.LinearDensity(&s) * speed * speed)
}

// A tally is what checks of many instruments came to.
type tally struct {
	instruments, sound, accused, found int
	notes, firsts, missedFirsts        int // heard; of fret 1
	nut, saddle, height                coverage
	nutOff, saddleOff                  coverage // where a fret is off
	told                               []string
}

func (y *tally) add(other *tally) {
	y.instruments += other.instruments
	y.sound += other.sound
	y.accused += other.accused
	y.found += other.found
	y.notes += other.notes
	y.firsts += other.firsts
	y.missedFirsts += other.missedFirsts
	y.nut.add(other.nut)
	y.saddle.add(other.saddle)
	y.nutOff.add(other.nutOff)
	y.saddleOff.add(other.saddleOff)
	y.height.add(other.height)
	y.told = append(y.told, other.told...)
}

func (y *tally) String() string {
	return fmt.Sprintf("%d instruments: a fret falsely accused on %d of %d sound ones, 0.4 mm off found %d of %d (fret 1: %d of %d), nut moves %s, saddle moves %s, with a fret off %s and %s, height of the nut %s; %d notes each",
		y.instruments, y.accused, y.sound, y.found, y.instruments, y.firsts-y.missedFirsts, y.firsts, &y.nut, &y.saddle, &y.nutOff, &y.saddleOff, &y.height, y.notes/max(2*y.instruments, 1))
}

func (c *coverage) add(o coverage) {
	c.within += o.within
	c.of += o.of
	c.sum += o.sum
}

// check plays an instrument as it is, then with one of the frets that are heard off its place.
func (y *tally) check(t *testing.T, w *world, p *Plan, rng *rand.Rand) {
	t.Helper()
	y.instruments++
	y.sound++
	sound := y.result(t, w, p, rng, &y.nut, &y.saddle)
	if bad := accused(w, sound); len(bad) > 0 {
		y.accused++
		y.told = append(y.told, fmt.Sprintf("%s: nut %.2f mm, relief %.2f, hand %.2f, finger %.1f: %v; fitted height %.2f ± %.2f", w.board.ID, mean(w.height), w.bow, w.hand, w.finger, bad, sound.Height.MM, sound.Height.Sigma))
	}
	off := read(p)[rng.IntN(len(read(p)))]
	kept := w.fret[off]
	w.fret[off] = fretOffMM * float64(1-2*rng.IntN(2))
	r := y.result(t, w, p, rng, &y.nutOff, &y.saddleOff)
	seen := false
	for _, f := range r.Frets {
		seen = seen || f.Off && f.Fret == off
	}
	if off == 1 {
		y.firsts++
	}
	if seen {
		y.found++
	} else {
		if off == 1 {
			y.missedFirsts++
		}
		y.told = append(y.told, fmt.Sprintf("%s: fret %d %+.1f mm off not found: nut %.2f mm, hand %.2f", w.board.ID, off, w.fret[off], mean(w.height), w.hand))
	}
	w.fret[off] = kept
}

// result plays and fits, and counts how the moves are covered.
func (y *tally) result(t *testing.T, w *world, p *Plan, rng *rand.Rand, nut, saddle *coverage) *Result {
	t.Helper()
	c := w.play(t, p, rng)
	r, err := c.Fit()
	if err != nil {
		t.Fatal(err)
	}
	y.notes += len(c.Entries)
	for _, s := range r.Strings {
		i, _ := w.board.at(s.Number)
		want := w.bestMove(i)
		nut.see(s.Move.NutMM-want.NutMM, s.MoveSigma.NutMM)
		saddle.see(s.Move.SaddleMM-want.SaddleMM, s.MoveSigma.SaddleMM)
		y.height.see(s.NutHeight.MM-w.height[i], s.NutHeight.Sigma)
	}
	return r
}

// accused lists the frets that are said to be off, and stand within three times usual care.
func accused(w *world, r *Result) []FretResult {
	var bad []FretResult
	for _, f := range r.Frets {
		if f.Off && math.Abs(w.fret[f.Fret]) < 3*UsualModel.SlotMM {
			bad = append(bad, f)
		}
	}
	return bad
}

// read lists the frets of a plan.
func read(p *Plan) []int {
	seen := map[int]bool{}
	var frets []int
	for _, s := range p.Steps {
		if s.Fret > 0 && !seen[s.Fret] {
			seen[s.Fret] = true
			frets = append(frets, s.Fret)
		}
	}
	return frets
}

func mean(all []float64) float64 {
	sum := 0.0
	for _, x := range all {
		sum += x / float64(len(all))
	}
	return sum
}

// TestFleet checks invented instruments, with nuts from low to far too high: no fret is accused on
// sound ones, those that are off are found, and the moves are what they are said to be, on every
// built-in instrument, with a fret off too. -instruments 500 is the whole of it (make intonation), and
// over all instruments its figures must reach the goals as they are. Of fewer, and of one instrument,
// chance is allowed for: a figure fails that lies beyond its goal by more than three standard errors
// of a count of so many instruments (strings of one instrument go wrong together); one that misses
// its goal by less is told.
//
// A fret 1 that is 0.4 mm off is hardly ever found: each string's height at the nut does much the same
// to its note, and no number of plucks parts the two. The report says then how well it is known.
func TestFleet(t *testing.T) {
	var all tally
	for at, name := range fretted {
		t.Run(name, func(t *testing.T) {
			board := boardOf(t, name)
			plan := planOf(t, board, PlanOptions{})
			rng := rand.New(rand.NewPCG(uint64(*fleetSeed), uint64(at)))
			var one tally
			for range *fleetSize / len(fretted) {
				one.check(t, invent(t, board, rng), plan, rng)
			}
			t.Log(&one)
			for _, told := range one.told {
				t.Log(told)
			}
			one.judgeMoves(t)
			all.add(&one)
		})
	}
	t.Log(&all)
	t.Logf("fret 1 off found %d of %d, others %d of %d", all.firsts-all.missedFirsts, all.firsts,
		all.found-(all.firsts-all.missedFirsts), all.instruments-all.firsts)
	all.judgeMoves(t)
	n := float64(all.instruments)
	holdTo(t, "sound instruments on which a fret is accused", float64(all.accused)/n, 0, mostFalse, n)
	holdTo(t, "frets found that are off", float64(all.found)/n, leastFound, 1, n)
}

// judgeMoves checks how the moves are covered.
func (y *tally) judgeMoves(t *testing.T) {
	t.Helper()
	for what, c := range map[string]*coverage{
		"nut moves": &y.nut, "saddle moves": &y.saddle, "nut moves with a fret off": &y.nutOff, "saddle moves with a fret off": &y.saddleOff,
	} {
		holdTo(t, what+" within 1.96 standard errors", c.share(), moveCover[0], moveCover[1], float64(y.instruments))
	}
}

// enoughInstruments is how many the goals are to hold for as they are.
const enoughInstruments = 498

// holdTo holds a part of n instruments, or of what they have, to its goals.
func holdTo(t *testing.T, what string, part, least, most, n float64) {
	t.Helper()
	below, above := chance(least, n), chance(most, n)
	if n >= enoughInstruments {
		below, above = 0, 0
	}
	tell := t.Logf
	if part < least-below || part > most+above {
		tell = t.Errorf
	}
	if part < least || part > most {
		tell("%s: %.1f %%, goal %.1f to %.1f", what, 100*part, 100*least, 100*most)
	}
}

// chance is three standard errors of a share p counted over n.
func chance(p, n float64) float64 { return 3 * math.Sqrt(p*(1-p)/n) }
