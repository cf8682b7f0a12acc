package pitch

import (
	"fmt"
	"math"

	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
)

// Limits of the sample rate, in Hz.
const (
	minSampleRate = 8000
	maxSampleRate = 192000
)

func checkSampleRate(fs float64) error {
	const card = 1e-3 // a sound card's rate corrected for its clock may lie beyond by that part
	if !(fs >= minSampleRate*(1-card) && fs <= maxSampleRate*(1+card)) {
		return fmt.Errorf("sample rate %g Hz is outside %d-%d Hz", fs, minSampleRate, maxSampleRate)
	}
	return nil
}

// A WindowEstimator reads the pitch of one window of samples in which one note sounds
// throughout. The pitch is that at the middle of the window; a slow drift within it is followed.
//
// It holds its work space and serves one goroutine.
type WindowEstimator struct {
	fs          float64
	guesser     acquire.Guesser
	once, again stringfit.Fitter
	parts       [2][]stringfit.Partial
	maxHz       float64 // above which no pitch is looked for
}

// NewWindowEstimator returns an estimator for sampleRate in Hz, 8000 to 192000.
func NewWindowEstimator(sampleRate float64) (*WindowEstimator, error) {
	if err := checkSampleRate(sampleRate); err != nil {
		return nil, err
	}
	return &WindowEstimator{fs: sampleRate, once: stringfit.Fitter{SampleRate: sampleRate, Accept: accept.Accepts}, again: stringfit.Fitter{SampleRate: sampleRate, Accept: accept.Accepts}}, nil
}

const (
	// noPeriodDip is the aperiodicity above which a window has no period to try: nothing else of it is known.
	noPeriodDip = 0.5
	// guessPeriods is how many periods of the lowest pitch the window of a guess holds.
	guessPeriods = 4
	// lowestSigma is how well (cents) the lowest partial by itself tells the pitch: what real ones keep to the law.
	lowestSigma = 3.0
	// highestMultiple is the highest number of a partial that a note may be taken for an octave, or more, too low by.
	highestMultiple = 5
	// Of a note that was read before, the stiffness is known to so many of its standard errors, and that part of it.
	againSigmas = 5
	againPart   = 0.02
	// leastSubBlock is the shortest sub-block, in samples.
	leastSubBlock = 4
)

// Estimate reads the pitch of x, looking between minHz and maxHz. The reading's At is the number
// of samples in x; its Partials are valid until the next call. It reports false if nothing with
// a pitch sounds. x should hold at least three periods of minHz.
func (e *WindowEstimator) Estimate(x []float64, minHz, maxHz float64) (Reading, bool) {
	// A guess needs no more than an acquisition does; the middle of the window is as good as any.
	n := min(len(x), int(max(acquire.WindowS, guessPeriods/minHz)*e.fs))
	begin := (len(x) - n) / 2
	limits := acquire.Limits{MinHz: minHz, MaxHz: maxHz, Most: noPeriodDip}
	e.maxHz = maxHz
	var r Reading
	ok, periodHz := false, maxHz
	all := e.guesser.Candidates(x[begin:begin+n], x[:min(len(x), int(acquire.WindowS*e.fs))], e.fs, limits)
	for c, more := all.Next(); more; c, more = all.Next() {
		if c.From == acquire.ByPeriod {
			periodHz = c.F1Hz
			if r, ok = e.around(0, x, c.Start); ok && r.SNRdB > accept.TrustedSNR {
				return r, ok
			}
			continue // a period that explains the sound badly was not the period
		}
		other, better := e.around(1, x, c.Start)
		if better && (!ok || accept.Better(&other.Result, &r.Result)) {
			return other, true
		}
	}
	// The lowest partial alone may have told the pitch well enough for others to be found.
	if !ok && r.SNRdB > accept.EvidentSNR {
		if other, better := e.around(1, x, stringfit.Guess(r.F1Hz, lowestSigma)); better {
			return other, true
		}
	}
	// Of a few samples a period, two periods may look more alike than one.
	if !ok && 2*periodHz < maxHz {
		if other, better := e.around(1, x, stringfit.Guess(2*periodHz, acquire.GuessSigma)); better && other.SNRdB > accept.TrustedSNR {
			return other, true
		}
	}
	return r, ok
}

// Around is Estimate for a pitch known beforehand to about sigmaCents (one standard deviation).
func (e *WindowEstimator) Around(x []float64, f1, sigmaCents float64) (Reading, bool) {
	e.maxHz = math.Inf(1)
	return e.around(0, x, stringfit.Guess(f1, sigmaCents))
}

// Again is Estimate for a note of which there is a reading already, such as a live one of the same
// pluck: its pitch is known to some cents, and its stiffness. That of a stiff string cannot be
// guessed well enough for its upper partials to be found in a long window at once.
func (e *WindowEstimator) Again(x []float64, r *Reading) (Reading, bool) {
	k := stringfit.Guess(r.F1Hz, acquire.GuessSigma)
	if r.B > 0 && r.BSigma > 0 {
		k.B, k.SigmaB = r.B, min(k.SigmaB, againSigmas*r.BSigma+againPart*r.B)
	}
	return e.around(0, x, k)
}

func (e *WindowEstimator) around(slot int, x []float64, k stringfit.Start) (Reading, bool) {
	f := &e.once
	if slot == 1 {
		f = &e.again
	}
	f.Reserve(subBlockFor(e.fs, len(x)), len(x))
	if !f.Load(x, 0, k) {
		return Reading{}, false
	}
	r := Reading{Result: stringfit.Result{At: int64(len(x)), Partials: e.parts[slot][:0]}, State: Sounding}
	ok := f.FitWhole(0, f.Bank.N, stringfit.Drifts, 0, &r.Result)
	e.parts[slot] = r.Partials
	up, higher := accept.Higher(&r.Result, highestMultiple)
	if !ok || !higher || up.F1Hz > e.maxHz {
		return r, ok
	}
	other, better := e.around(1-slot, x, up)
	if better || r.SNRdB < accept.EvidentSNR {
		return other, better
	}
	return r, ok
}

// subBlockFor returns the length of sub-block for a window of n samples: the usual one, or less
// where the window is too short for that.
func subBlockFor(fs float64, n int) int {
	m := stringfit.SubBlock(fs)
	for m > leastSubBlock && n/m < stringfit.BlocksInFit/2 {
		m /= 2
	}
	return m
}
