package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

const (
	MaxPartials      = 28           // partials of a note that are tracked
	subBlockS        = 1e-3 * 2 / 3 // s, length of a sub-block of the bank: 32 samples at 48 kHz; four times that let partials alias
	shortestSubBlock = 4            // samples
	BlocksInFit      = 40           // blocks that a window is gathered into
	blocksLive       = 24           // at least, while a note sounds
	blocksGlide      = 80           // at most, while it may glide
	glidingS         = 0.6          // s, the longest window in which that matters
	fewSubBlocks     = 100          // in a window of which none may be lost
	blockGlideS      = 3e-3         // s, the longest block while it does: what a glide changes within one is left out
)

// SubBlock returns the samples in a sub-block at sample rate fs.
func SubBlock(fs float64) int { return max(shortestSubBlock, int(math.Round(fs*subBlockS))) }

// A Motion says what movement of the pitch within a window a fit allows for.
type Motion int

const (
	Steady  Motion = iota // none
	Drifts                // any slow drift; the pitch is that at the middle of the window
	Settles               // a glide after the onset; the pitch is the one it settles to
)

// A Fitter fits one note to a stretch of a bank, long or short, and holds all work space.
type Fitter struct {
	SampleRate float64
	Partials   int                // most partials in the model; 0: maxPartials
	Live       bool               // fits must be cheap
	Accept     func(*Result) bool // whether a result is of a note
	Bank       *Bank
	pitchPath  // of the last fit
	omega      []float64
	climbing   hannSpectrum // work space of a search for higher partials

	Start       Start // what the first short fit of load taught
	startLength int   // sub-blocks of that fit
}

// Tune points the bank at the partials of f1 and B, beginning at sample index first.
func (f *Fitter) Tune(f1, b float64, first int64) {
	f.omega = f.omega[:0]
	limit := MaxPartials
	if f.Partials > 0 {
		limit = f.Partials
	}
	for k := 1; k <= limit; k++ {
		hz := stiffstring.PartialHz(f1, b, k)
		if hz > highestHz*f.SampleRate && k > 1 {
			break
		}
		f.omega = append(f.omega, 2*math.Pi*hz/f.SampleRate)
	}
	f.Bank.tune(f.omega, first)
	f.series.number = f.series.number[:0]
	for r := range f.omega {
		f.series.number = append(f.series.number, r+1)
	}
}

// MaxDetuning returns by how much (rad in a sub-block) the frequency of some partial that was found differs
// most from the one it was demodulated at: what other partials leak into its sub-blocks then comes back
// as an alias of that part.
func (f *Fitter) MaxDetuning() float64 {
	m := &f.joint.model
	most := 0.0
	for i := range f.joint.basis.part {
		p := &f.joint.basis.part[i]
		if m.row[p.row].seen == found {
			most = max(most, math.Abs(2*math.Pi*m.hz(p.row, p.number)/f.SampleRate-f.Bank.Omega[p.row])*float64(f.Bank.M))
		}
	}
	return most
}

// KeepPartials leaves out all but the lowest partials from here on.
func (f *Fitter) KeepPartials(partials int) {
	f.Bank.Omega = f.Bank.Omega[:min(partials, len(f.Bank.Omega))]
}

// A Start is what is believed of a note before a fit.
type Start struct {
	F1Hz, SigmaCents float64
	B, SigmaB        float64
	Prior            stiffstring.Prior
	carry            bool // single partials are known from the last fit
	resume           bool // so is the whole model, as far as the window fits it
	most             int  // partials that are enough for now; 0: all count
	Top              int  // a first fit should be short enough to hold the partials up to this one
}

// guessedTop is the partial up to which the first fit to a guess reaches: the second and third tell B.
const guessedTop = 3

// Guess returns what is known from a first guess of the pitch alone.
func Guess(f1, sigmaCents float64) Start {
	p := stiffstring.StiffnessPrior(f1)
	return Start{F1Hz: f1, SigmaCents: sigmaCents, B: p.Mean, SigmaB: p.Sigma, Prior: p, Top: guessedTop}
}

// What a fit has taught is taken to be known so much worse in a longer window, and f1 no better than the least (cents).
const (
	learnedTimes = 3.0
	learnedLeast = 0.2
)

// Learned returns what a fit has taught, with allowance for a longer window.
func (f *Fitter) Learned(prior stiffstring.Prior) Start {
	f.adopt()
	m := &f.joint.model
	return Start{
		F1Hz: m.f1, SigmaCents: max(learnedTimes*m.sigma, learnedLeast),
		B: m.b, SigmaB: min(prior.Sigma, learnedTimes*m.sigmaB), Prior: prior, carry: true,
	}
}

// fit fits the sub-blocks [from, to) of the bank as one window.
func (f *Fitter) fit(from, to int, k Start, m Motion, w warp) bool {
	f.trajectory.state = spent
	f.gather(from, to, k.F1Hz, k.B, m, w)
	f.joint.begin(&f.series, &k, f.Live)
	return f.joint.converge()
}

// gather gathers the sub-blocks [from, to) of the bank under the warp w, to be fitted with a note near f1
// and b.
func (f *Fitter) gather(from, to int, f1, b float64, m Motion, w warp) {
	f.warp = w
	q := f.joined(to-from, m)
	f.omega = f.omega[:0]
	for r, omega := range f.Bank.Omega {
		// Sub-blocks joined at the frequency they were demodulated at keep out exactly what their
		// length keeps out; only where a block would turn too far it must be another.
		if law := 2 * math.Pi * stiffstring.PartialHz(f1, b, r+1) / f.SampleRate; math.Abs(law-omega)*float64(q*f.Bank.M) > 1 {
			omega = law
		}
		f.omega = append(f.omega, omega)
	}
	f.series.gather(f.Bank, f.omega, from, to, q, f.SampleRate, w)
}

// joined returns how many of n sub-blocks go into a block.
func (f *Fitter) joined(n int, m Motion) int {
	blocks := BlocksInFit
	if f.Live {
		blocks = blocksLive
		if seconds := float64(n*f.Bank.M) / f.SampleRate; m == Settles && seconds < glidingS {
			blocks = max(blocks, min(blocksGlide, int(seconds/blockGlideS)))
		}
	}
	most := max(1, n/blocks)
	if (f.Live || m != Drifts) && n > fewSubBlocks {
		return most
	}
	// What fills no block is lost, at the front, where a note that dies fast is loudest; of a few periods it
	// matters even more. Somewhat shorter blocks may leave less of it. (Where a pitch settles, the front tells
	// the least of it.)
	const quarter = 4
	least := most - most/quarter
	if n <= fewSubBlocks {
		least = min(least, most-1)
	}
	q := most
	for shorter := most - 1; shorter >= max(1, least); shorter-- {
		if n%shorter < n%q {
			q = shorter
		}
	}
	return q
}

// briefly reports whether a window of n sub-blocks of a note at f1 (Hz) is so short that priors hold its fit.
func (f *Fitter) briefly(n int, m Motion, f1 float64) bool {
	q := f.joined(n, m)
	return float64(n/q*q*f.Bank.M)/f.SampleRate*f1 < briefPeriods
}

// Follow fits the window [from, to) and whatever its pitch does, as far as m allows, starting
// from k and the warp found so far. It sets hz and sigma.
// It takes at most passes fits.
func (f *Fitter) Follow(from, to int, k Start, m Motion, onset float64, passes int) bool {
	var w warp
	f.Fitted = false
	if m != Steady && !f.briefly(to-from, m, k.F1Hz) {
		w = f.planned
	}
	for pass := range passes {
		resumed := k.resume && f.resumable(f.Bank.At(from), f.Bank.At(to), w) && f.resume(from, to, k, m, w)
		if !resumed && !f.fit(from, to, k, m, w) {
			return false
		}
		f.Hz, f.Variance, f.Fitted = f.joint.model.f1, f.joint.variance, true
		f.plannedOff = 0
		f.computeTracks()
		if f.joint.solver == bound {
			f.addGlideUncertainty(m)
			return true
		}
		if m == Steady {
			if f.Live {
				f.fitSteady()
			}
			return true
		}
		var next warp
		if m == Settles {
			next = f.glide(onset)
		} else {
			next = f.estimateDrift()
		}
		f.planned = next
		if pass == passes-1 || f.change(w, next)*(2*math.Pi*f.joint.topHz()) < f.joint.model.enoughPhase() {
			return true
		}
		k = f.Learned(k.Prior)
		k.resume = resumes && m == Settles
		w = next
	}
	return true
}

// What a first fit is made of, at least.
const (
	firstSubBlocks = 12
	firstPeriods   = 3.0
	firstLobe      = 0.2 // of the main lobe, that the partials are uncertain by
)

// reach returns the length of window (s) in which the partials up to k.Top lie safely within the
// main lobe, and at least three periods and a dozen sub-blocks.
func (k Start) reach() float64 {
	top := stiffstring.PartialHz(k.F1Hz, k.B, k.Top)
	return max(firstSubBlocks*subBlockS, max(firstPeriods/k.F1Hz, firstLobe*stiffstring.CentsPerNeper/(top*(k.SigmaCents+vaguePitch))))
}

// EstimateGlide finds a glide in what the last fit, of a steady pitch, has left, as the first pass of a fit that allows
// for one would. It reports false, and changes nothing, if that fit was not to all of the bank.
func (f *Fitter) EstimateGlide(onset float64) bool {
	s := &f.series
	if !f.Fitted || f.Brief() || s.start-f.Bank.First >= int64(s.length) {
		return false
	}
	f.planned = f.glide(onset)
	return true
}
