package accuracy

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"runtime"
	"sort"
	"sync"
	"sync/atomic"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// An Estimate reads the pitch of one window: partial 1 in Hz and its standard uncertainty in cents.
// The pitch lies between minHz and maxHz; ok is false if no reading can be given. One is used by
// one goroutine at a time; it may keep buffers, but nothing of x.
type Estimate func(x []float64, sampleRate, minHz, maxHz float64) (f1Hz, sigmaCents float64, ok bool)

// A Config says what is run.
type Config struct {
	SampleRate float64 // Hz; 0: 48000
	Seed       uint64  // of all randomness; a trial depends on it, what it is of and its number only
	Trials     int     // per cell, register and pluck
	Cells      []Cell
	Registers  []Register
	Plucks     []Pluck
	New        func() Estimate // makes one window estimator for every worker
	NewListen  func() Listen   // makes one live reader for every worker; not needed without plucks
}

// detuneCents is how far a trial's pitch lies from its note at most, so that no estimator gains
// from a pitch that fits its own grid.
const detuneCents = 25

// grossCents is the error from which a reading is not a reading of this note.
const grossCents = 50

// A Result sums up the trials of one cell. RMSE and bias leave gross errors out, which are counted
// beside them; coverage does not.
type Result struct {
	Cell
	Trials      int
	Read        int     // trials with a reading
	BoundCents  float64 // Cramér–Rao, B and decays unknown, RMS over several draws of the phases
	RMSE, Bias  float64 // cents
	Gross       int     // more than 50 cents off
	Octave      int     // of these, near a whole number of octaves off
	Covered     int     // truth within ±1.96σ
	MedianSigma float64 // cents
}

// Ratio is the error over the smallest possible one.
func (r Result) Ratio() float64 { return r.RMSE / r.BoundCents }

// Coverage is the part of the readings whose ±1.96σ holds the truth; NaN without readings.
func (r Result) Coverage() float64 { return float64(r.Covered) / float64(r.Read) }

// A Report is the outcome of a run, in the order of its Config.
type Report struct {
	Config    Config
	Results   []Result
	Registers []RegisterResult
	Plucks    []PluckResult
}

// trial is the outcome of one window.
type trial struct {
	cents, sigma float64
	read         bool
}

// Run renders and reads all trials on all processors. The outcome does not depend on how many
// there are. It ends early only with ctx, or if a bound cannot be computed.
func Run(ctx context.Context, cfg Config) (*Report, error) {
	cfg = cfg.withDefaults()
	switch {
	case cfg.Trials < 1 || len(cfg.Cells)+len(cfg.Registers)+len(cfg.Plucks) == 0:
		return nil, errors.New("accuracy: a run needs something to render and at least one trial")
	case cfg.New == nil || cfg.NewListen == nil && len(cfg.Plucks) > 0:
		return nil, errors.New("accuracy: a run needs an estimator, and for plucks a live reader")
	}
	rep := &Report{Config: cfg}
	var err error
	if rep.Results, err = cfg.runCells(ctx); err != nil {
		return nil, err
	}
	if rep.Registers, err = cfg.runRegisters(ctx); err != nil {
		return nil, err
	}
	if rep.Plucks, err = cfg.runPlucks(ctx); err != nil {
		return nil, err
	}
	return rep, nil
}

// runCells renders and reads all windows of the cells.
func (cfg Config) runCells(ctx context.Context) ([]Result, error) {
	bounds, err := cfg.bounds(ctx)
	if err != nil {
		return nil, err
	}
	trials := make([]trial, len(cfg.Cells)*cfg.Trials)
	err = parallel(ctx, len(trials), func() func(int) error {
		estimate := cfg.New()
		var buf []float64
		return func(i int) error {
			cell := cfg.Cells[i/cfg.Trials]
			n := cfg.samples(cell)
			if cap(buf) < n {
				buf = make([]float64, n)
			}
			trials[i] = cfg.try(cell, i%cfg.Trials, estimate, buf[:n])
			return nil
		}
	})
	if err != nil {
		return nil, err
	}
	var results []Result
	for i, cell := range cfg.Cells {
		results = append(results, sumUp(cell, bounds[i], trials[i*cfg.Trials:(i+1)*cfg.Trials]))
	}
	return results, nil
}

// parallel calls the functions that newWorker makes with every number below n, each worker on a
// goroutine of its own. The first error ends it.
func parallel(ctx context.Context, n int, newWorker func() func(int) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			work := newWorker()
			for i := int(next.Add(1)) - 1; i < n && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				if err := work(i); err != nil {
					cancel(err)
				}
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}

func (cfg Config) withDefaults() Config {
	if cfg.SampleRate == 0 {
		cfg.SampleRate = 48000
	}
	return cfg
}

func (cfg Config) samples(c Cell) int { return int(math.Round(c.WindowS * cfg.SampleRate)) }

// rng is the random numbers of one trial of a cell.
func (cfg Config) rng(what string, number int) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s/%d", what, number)
	return rand.New(rand.NewPCG(h.Sum64(), cfg.Seed))
}

func (cfg Config) try(c Cell, number int, estimate Estimate, x []float64) trial {
	truth := cfg.render(c, cfg.rng(c.String(), number), x)
	return readTrial(estimate, x, cfg.SampleRate, c.Hz/math.Sqrt2, c.Hz*math.Sqrt2, truth.F1Hz)
}

func readTrial(estimate Estimate, x []float64, sampleRate, minHz, maxHz, truthHz float64) trial {
	f1, sigma, ok := estimate(x, sampleRate, minHz, maxHz)
	cents := stiffstring.Cents(f1, truthHz)
	if !ok || math.IsNaN(cents) || math.IsInf(cents, 0) || !(sigma < math.Inf(1)) {
		return trial{}
	}
	return trial{cents: cents, sigma: sigma, read: true}
}

// render fills x with one window of the cell.
func (cfg Config) render(c Cell, rng *rand.Rand, x []float64) sound.Truth {
	hz := c.Hz * math.Exp2(detuneCents*(2*rng.Float64()-1)/1200)
	return c.spec(hz).Render(x, cfg.SampleRate, rng)
}

// bounds returns the bound of every cell. Cells that differ in SNR only share the work: the bound
// is proportional to the noise.
func (cfg Config) bounds(ctx context.Context) ([]float64, error) {
	group := map[string]int{}
	var cells []Cell
	of := make([]int, len(cfg.Cells))
	for i, c := range cfg.Cells {
		c.SNRdB = 0
		g, known := group[c.String()]
		if !known {
			g = len(cells)
			group[c.String()] = g
			cells = append(cells, c)
		}
		of[i] = g
	}
	bounds := make([]float64, len(cells))
	err := parallel(ctx, len(cells), func() func(int) error {
		return func(i int) (err error) {
			bounds[i], err = cfg.bound(cells[i])
			return err
		}
	})
	out := make([]float64, len(of))
	for i, g := range of {
		out[i] = bounds[g] * math.Pow(10, -cfg.Cells[i].SNRdB/20)
	}
	return out, err
}

// bound averages over the phases where they matter: in windows of few periods.
func (cfg Config) bound(c Cell) (float64, error) {
	draws := 1
	if c.Periods() < 16 {
		draws = 16
	}
	x := make([]float64, cfg.samples(c))
	sum := 0.0
	for i := range draws {
		truth := cfg.render(c, cfg.rng("bound of "+c.String(), i), x)
		m := StringModel{F1Hz: truth.F1Hz, B: truth.B, Amps: truth.Amps, Decays: truth.Decays, Phases: truth.Phases}
		b, err := cfg.stringBound(m, len(x), truth.NoiseSigma)
		if err != nil {
			return 0, fmt.Errorf("%v: %w", c, err)
		}
		sum += b * b
	}
	return math.Sqrt(sum / float64(draws)), nil
}

// stringBound is StringBound in cents for n samples at cfg.SampleRate with B and decays unknown. It
// is computed from as few samples as hold the highest partial, with as much noise in a hertz.
func (cfg Config) stringBound(m StringModel, n int, sigma float64) (float64, error) {
	top := stiffstring.PartialHz(m.F1Hz, m.B, len(m.Amps))
	thin := max(1, int(0.4*cfg.SampleRate/top))
	for n%thin != 0 {
		thin--
	}
	known := Assumed{B: len(m.Amps) == 1} // one partial shows no B
	b, err := StringBound(m, n/thin, cfg.SampleRate/float64(thin), sigma/math.Sqrt(float64(thin)), known)
	return b.F1Cents, err
}

func sumUp(c Cell, bound float64, trials []trial) Result {
	r := Result{Cell: c, Trials: len(trials), BoundCents: bound}
	var sum, squares float64
	var sigmas []float64
	for _, t := range trials {
		if !t.read {
			continue
		}
		r.Read++
		sigmas = append(sigmas, t.sigma)
		if math.Abs(t.cents) <= 1.96*t.sigma {
			r.Covered++
		}
		if math.Abs(t.cents) > grossCents {
			r.Gross++
			if math.Abs(math.Remainder(t.cents, 1200)) <= grossCents {
				r.Octave++
			}
			continue
		}
		sum += t.cents
		squares += t.cents * t.cents
	}
	n := float64(r.Read - r.Gross)
	r.RMSE, r.Bias = math.Sqrt(squares/n), sum/n
	r.MedianSigma = median(sigmas)
	return r
}

// median sorts x; NaN if it is empty.
func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sort.Float64s(x)
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}
