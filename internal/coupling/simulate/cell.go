package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"tunerd/internal/coupling"
)

// A Start is how far out of tune an instrument is found.
type Start string

// The starts there are.
const (
	Off30 Start = "±30"  // every string within 30 cents
	Flat  Start = "flat" // all 60 to 100 cents flat, within 8 of each other
	Chord Start = "−31"  // in tune within 0.6 cents, and one string is to be lowered by 31
)

// A Way is how the instrument is tuned.
type Way string

// The ways there are.
const (
	Round  Way = "round and round"
	Single Way = "single"
	Strum  Way = "strum"
)

// A Cell is a row of the table: how, what and from where an instrument is tuned, many times.
type Cell struct {
	Kind    Kind
	Told    coupling.Support
	Start   Start
	Way     Way
	Learned int // ordinary sessions from ±30 before
	Slip    float64
	Peg     float64
	Flaws   Flaws
	Count   int
	Seed    uint64
}

// A Tally is what came of the instruments of a cell. Parts are from 0 to 1.
type Tally struct {
	Moves     float64 // a string
	InTune    float64 // of the instruments, in the end
	OnePass   float64 // of the instruments: all strings truly in tune after one pass
	Strings   float64 // of the strings, the same
	After     float64 // of the strings, within ±1.96σ of what is believed after a pass
	Before    float64 // of what was forecast before it
	Highest   float64 // cents
	OverLimit float64 // of the instruments
	MoveSE    float64 // standard error of Moves
}

// Run tunes the instruments of a cell, on all processors.
func (c Cell) Run() (Tally, error) {
	sessions, errs := make([]*Session, c.Count), make([]error, c.Count)
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for b := range next {
				sessions[b], errs[b] = c.one(b)
			}
		})
	}
	for b := range c.Count {
		next <- b
	}
	close(next)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return Tally{}, err
		}
	}
	return c.tally(sessions), nil
}

// one tunes the instrument of that number.
func (c Cell) one(b int) (*Session, error) {
	rng := rand.New(rand.NewPCG(c.Seed, uint64(b)))
	in := New(c.Kind, c.Flaws, rng)
	h := Hand{PegSigma: c.Peg, Slip: c.Slip, Sigma: 0.1 + 0.2*rng.Float64(), rng: rng, in: in, highest: math.Inf(-1)}
	prior, err := coupling.NewPrior(c.Told, c.Kind.Strings)
	if err != nil {
		return nil, err
	}
	var known *coupling.Known
	for range c.Learned {
		l, err := coupling.NewLearner(prior, known)
		if err != nil {
			return nil, err
		}
		in.Start(offsets(Off30, in.n, rng))
		session := h
		if _, err := session.obey(l, true); err != nil {
			return nil, err
		}
		known = l.Known(known)
	}
	in.Start(offsets(c.Start, in.n, rng))
	if c.Way == Round {
		ok := h.roundAndRound()
		return &Session{Moves: h.moves, InTune: ok, Highest: h.highest}, nil
	}
	l, err := coupling.NewLearner(prior, known)
	if err != nil {
		return nil, err
	}
	l.Creeping(c.Kind.creepCents(c.Flaws))
	return h.obey(l, c.Way == Strum)
}

// creepCents is what the learner is told of creep: a cent, where there is any.
func (k Kind) creepCents(f Flaws) float64 {
	if f.Creep == 0 {
		return 0
	}
	return 0.3
}

func offsets(s Start, n int, rng *rand.Rand) []float64 {
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	out := make([]float64, n)
	all := between(-100, -60)
	for i := range out {
		switch s {
		case Off30:
			out[i] = between(-30, 30)
		case Flat:
			out[i] = all + between(-8, 8)
		default:
			out[i] = between(-0.6, 0.6)
		}
	}
	if s == Chord {
		out[rng.IntN(n)] += 31
	}
	return out
}

func (c Cell) tally(all []*Session) Tally {
	t := Tally{Highest: math.Inf(-1)}
	n, count := float64(len(c.Kind.Strings)), float64(len(all))
	within := func(x, mean, sigma float64) float64 { return one(math.Abs(x-mean) <= 1.96*sigma) }
	squares := 0.0
	for _, s := range all {
		m := float64(s.Moves) / n
		t.Moves += m / count
		squares += m * m / count
		t.InTune += one(s.InTune) / count
		t.Highest = max(t.Highest, s.Highest)
		t.OverLimit += one(s.Highest > limitCents) / count
		good := 0.0
		for i, x := range s.Truth {
			good += one(math.Abs(x) <= coupling.InTuneCents)
			t.After += within(x, s.Believed[i], s.BelievedSigma[i]) / n / count
			t.Before += within(x, s.Forecast[i], s.ForecastSigma[i]) / n / count
		}
		t.Strings += good / n / count
		t.OnePass += one(good == n) / count
	}
	t.MoveSE = math.Sqrt(max(squares-t.Moves*t.Moves, 0) / count)
	return t
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func (c Cell) String() string {
	return fmt.Sprintf("%s, %s, %s, told %s, learned in %d", c.Kind.Name, c.Start, c.Way, c.Told, c.Learned)
}
