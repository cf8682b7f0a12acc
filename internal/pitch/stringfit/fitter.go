package stringfit

import (
	"math"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

const (
	MaxPartials  = 28           // partials of a note that are tracked
	subBlockS    = 1e-3 * 2 / 3 // s, length of a sub-block of the bank
	BlocksInFit  = 40           // blocks that a window is gathered into
	blocksLive   = 24           // at least, while a note sounds
	blocksGlide  = 80           // at most, while it may glide
	glidingS     = 0.6          // s, the longest window in which that matters
	fewSubBlocks = 100          // in a window of which none may be lost
	blockGlideS  = 3e-3         // s, the longest block while it does: what a glide changes within one is left out
)

// SubBlock returns the samples in a sub-block at sample rate fs.
func SubBlock(fs float64) int { return max(4, int(math.Round(fs*subBlockS))) }

// A Motion says what movement of the pitch within a window a fit allows for.
type Motion int

const (
	Steady  Motion = iota // none
	Drifts                // any slow drift; the pitch is that at the middle of the window
	Settles               // a glide after the onset; the pitch is the one it settles to
)

// A Fitter fits one note to a stretch of a bank, long or short, and holds all work space.
type Fitter struct {
	SampleRate     float64
	Partials       int                // most partials in the model; 0: maxPartials
	Live           bool               // fits must be cheap
	Accept         func(*Result) bool // whether a result is of a note
	Bank           *Bank
	series         series
	joint          joint
	omega          []float64
	warp           warp       // that of the last fit
	planned        warp       // what the last fit suggests for the next
	trajectory     trajectory // what the phase residuals of the last fit say
	plannedOff     float64    // [cents] the pitch that planned settles to, against hz
	track          []float64
	trackWeight    []float64
	wholeTrack     []float64 // [s] whole warp of time found, by block
	residuals      phaseResiduals
	residualTrack  []float64 // [s] shift, less the glide that was found, by block
	residualWeight []float64 // [1/s²] inverse variance of rest
	curve          [2][]float64
	times          []float64 // [s] since the onset, by block

	climbing hannSpectrum // work space of a search for higher partials

	Start       Start // what the first short fit of load taught
	startLength int   // sub-blocks of that fit

	heard    []Partial // that the last reading was of, of which not all are known so well as to be in it
	Hz       float64   // the pitch asked for
	Variance Variance  // of it, the scatter of single partials counted as noise
	Fitted   bool      // the last fit succeeded, and all of joint belongs to it
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
		if hz > 0.46*f.SampleRate && k > 1 {
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
	j := &f.joint
	most := 0.0
	for k, r := range j.active {
		if j.seen[r] == found {
			most = max(most, math.Abs(2*math.Pi*j.hz(k)/f.SampleRate-f.Bank.Omega[r])*float64(f.Bank.M))
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

// Guess returns what is known from a first guess of the pitch alone.
func Guess(f1, sigmaCents float64) Start {
	p := stiffstring.StiffnessPrior(f1)
	return Start{F1Hz: f1, SigmaCents: sigmaCents, B: p.Mean, SigmaB: p.Sigma, Prior: p, Top: 3}
}

// Learned returns what a fit has taught, with allowance for a longer window.
func (f *Fitter) Learned(prior stiffstring.Prior) Start {
	f.adopt()
	return Start{
		F1Hz: f.joint.f1, SigmaCents: max(3*f.joint.sigma, 0.2),
		B: f.joint.b, SigmaB: min(prior.Sigma, 3*f.joint.sigmaB), Prior: prior, carry: true,
	}
}

// fit fits the sub-blocks [from, to) of the bank as one window.
func (f *Fitter) fit(from, to int, k Start, m Motion, w warp) bool {
	f.trajectory.ready, f.trajectory.adopted = false, false
	f.gather(from, to, k.F1Hz, k.B, m, w)
	f.joint.live = f.Live
	f.joint.most = k.most
	f.joint.begin(&f.series, k.F1Hz, k.SigmaCents, k.B, k.SigmaB, k.Prior, k.carry)
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
	least := (3*most + 3) / 4
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
		resumed := k.resume && f.resumable(from, to, w) && f.resume(from, to, k, m, w)
		if !resumed && !f.fit(from, to, k, m, w) {
			return false
		}
		f.Hz, f.Variance, f.Fitted = f.joint.f1, f.joint.variance, true
		f.plannedOff = 0
		f.computeTracks()
		if f.joint.brief {
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
		top := 2 * math.Pi * stiffstring.PartialHz(f.joint.f1, f.joint.b, f.joint.number[len(f.joint.number)-1])
		enough := 0.01 // rad
		if f.Live && 2*f.series.half*f.joint.f1 > resumeBins {
			enough = 0.1 // far partials are led astray by each other's phases less
		}
		if pass == passes-1 || f.change(w, next)*top < enough {
			return true
		}
		k = f.Learned(k.Prior)
		k.resume = m == Settles
		w = next
	}
	return true
}

// computeTracks computes the whole warp of time of the present window, by block.
func (f *Fitter) computeTracks() {
	n := f.series.n
	f.track, f.trackWeight, f.wholeTrack = scratch.Grow(f.track, n), scratch.Grow(f.trackWeight, n), scratch.Grow(f.wholeTrack, n)
	f.residuals.take(&f.joint, f.track, f.trackWeight)
	for i, s := range f.track {
		f.wholeTrack[i] = s + f.series.psi[i]
	}
	f.residualTrack, f.residualWeight = append(f.residualTrack[:0], f.track...), append(f.residualWeight[:0], f.trackWeight...)
	for m := range f.curve {
		f.curve[m] = scratch.Grow(f.curve[m], n)
	}
}

// change returns the largest difference in bend between two warps over the window, in seconds:
// what is left after an offset and a slope are taken off at the window's ends and middle.
func (f *Fitter) change(a, b warp) float64 {
	d := func(x float64) float64 {
		at := f.series.middle() + x*f.series.half*f.SampleRate
		return b.psi(at, f.SampleRate) - a.psi(at, f.SampleRate)
	}
	bow := math.Abs(d(0) - (d(-1)+d(1))/2)
	early := math.Abs(d(-0.5) - (d(-1)+d(0))/2)
	return max(bow, early)
}

// estimateDrift finds a drift: quadratic and cubic warps about the middle of the window, each only if
// it stands out by more than five standard errors, and sets hz to the pitch at the middle. In a window
// that shows a pitch to a thousandth of a cent a real drift stands out by far; one that is not there
// costs several times σ.
func (f *Fitter) estimateDrift() warp {
	s := &f.series
	for i, t := range s.t {
		f.curve[0][i] = t * t
		f.curve[1][i] = t * t * t
	}
	next := warp{middle: s.middle()}
	plain, ok := fitLine(s.t, f.wholeTrack, f.trackWeight, nil)
	if !ok || plain.used < 8 {
		return f.keep()
	}
	free := func(l line, terms int) float64 { return max(1, l.chi2/float64(l.used-2-terms)) }
	best, scale := plain, free(plain, 0)
	quad, ok := fitLine(s.t, f.wholeTrack, f.trackWeight, [][]float64{f.curve[0]})
	if ok && quad.extra[0]*quad.extra[0] > 25*free(quad, 1)*quad.extraVar[0] {
		best, scale = quad, free(quad, 1)
		next.quad = quad.extra[0]
	}
	both, ok := fitLine(s.t, f.wholeTrack, f.trackWeight, f.curve[:])
	if ok && both.extra[1]*both.extra[1] > 25*free(both, 2)*both.extraVar[1] {
		best, scale = both, free(both, 2)
		next.quad, next.cubic = both.extra[0], both.extra[1]
	}
	f.Hz = f.joint.f1 * (1 + best.slope - f.bias())
	more := scale*best.slopeVar - plain.slopeVar
	f.Variance = f.joint.variance
	f.Variance.Movement += square(stiffstring.CentsPerNeper) * max(0, more)
	return next
}

// bias returns the slope that the track of time shows although the joint fit, which weighs the
// same data better, has already set it to zero: what the track says of the pitch counts from there.
func (f *Fitter) bias() float64 {
	l, ok := fitLine(f.series.t, f.track, f.trackWeight, nil)
	if !ok {
		return 0
	}
	return l.slope
}

// keep is the answer of estimateDrift when the window is too poor to see any movement.
func (f *Fitter) keep() warp {
	f.Hz, f.Variance = f.joint.f1*(1+f.warp.rate(f.series.middle(), f.SampleRate)), f.joint.variance
	return f.warp
}

// reach returns the length of window (s) in which the partials up to k.top lie safely within the
// main lobe, and at least three periods and a dozen sub-blocks.
func (k Start) reach() float64 {
	top := stiffstring.PartialHz(k.F1Hz, k.B, k.Top)
	return max(12*subBlockS, max(3/k.F1Hz, 0.2*stiffstring.CentsPerNeper/(top*(k.SigmaCents+0.02))))
}
