package pitch

import (
	"fmt"
	"math"
)

// Limits of the sample rate, in Hz.
const (
	minSampleRate = 8000
	maxSampleRate = 192000
)

const (
	maxPartials   = 28   // partials of a note that are tracked
	subBlockS     = 1e-3 * 2 / 3 // s, length of a sub-block of the bank
	blocksInFit   = 40   // blocks that a window is gathered into
	maxWindowS    = 8.0  // s, longest window of one fit
)

// A WindowEstimator reads the pitch of one window of samples in which one note sounds
// throughout. The pitch is that of the window as a whole, at its middle: no glide is taken off.
//
// It holds its work space and serves one goroutine.
type WindowEstimator struct {
	fs     float64
	yin    *yin
	bank   *bank
	series series
	joint  joint
	omega  []float64
	parts  []Partial
}

// NewWindowEstimator returns an estimator for sampleRate in Hz, 8000 to 192000.
func NewWindowEstimator(sampleRate float64) (*WindowEstimator, error) {
	if !(sampleRate >= minSampleRate && sampleRate <= maxSampleRate) {
		return nil, fmt.Errorf("pitch: sample rate %g Hz is outside %d-%d Hz", sampleRate, minSampleRate, maxSampleRate)
	}
	return &WindowEstimator{fs: sampleRate}, nil
}

// subBlock returns the samples in a sub-block at sample rate fs.
func subBlock(fs float64) int { return max(4, int(math.Round(fs*subBlockS))) }

// refine fits the law to x, given f1 (Hz) known to about sigmaCents and B to prior. It begins
// with as much of the front of x as that knowledge can follow and lengthens from there. Without
// a fit it reports false.
func (e *WindowEstimator) refine(x []float64, f1, sigmaCents float64, prior stiffnessPrior) bool {
	m := subBlock(e.fs)
	for m > 4 && len(x)/m < blocksInFit/2 {
		m /= 2
	}
	total := len(x) / m
	if e.bank == nil || e.bank.m != m || len(e.bank.energy) < total {
		e.bank = newBank(m, maxPartials, total)
	}
	b, sigmaB := prior.mean, prior.sigma
	span := reach(f1, sigmaCents)
	for {
		n := total
		if float64(n*m)/e.fs > 1.3*span {
			n = int(span * e.fs / float64(m))
		}
		if n < 6 {
			return false
		}
		e.demodulate(x[:n*m], f1, b)
		e.gather(n, warp{})
		e.joint.begin(&e.series, f1, sigmaCents, b, sigmaB, prior)
		if !e.joint.converge() {
			return false
		}
		f1, b = e.joint.f1, e.joint.b
		if n == total {
			return true
		}
		sigmaCents = math.Max(3*e.joint.sigma, 0.2)
		sigmaB = math.Min(prior.sigma, 3*e.joint.sigmaB)
		span = math.Max(2.5*span, 1.5*float64(n*m)/e.fs)
	}
}

// reach returns the length of window (s) in which partial 3 of a note known to sigma cents lies
// safely within the main lobe, and at least three periods.
func reach(f1, sigma float64) float64 {
	return math.Max(3/f1, 0.2*centsPerNeper/(3*f1*(sigma+0.02)))
}

// demodulate fills the bank with x at the partials of f1 and B.
func (e *WindowEstimator) demodulate(x []float64, f1, b float64) {
	e.omega = e.omega[:0]
	for k := 1; k <= maxPartials; k++ {
		f := partialHz(f1, b, k)
		if f > 0.47*e.fs && k > 1 {
			break
		}
		e.omega = append(e.omega, 2*math.Pi*f/e.fs)
	}
	e.bank.tune(e.omega, 0)
	for i := 0; i+e.bank.m <= len(x); i += e.bank.m {
		e.bank.push(x[i:])
	}
}

// gather joins the bank's first n sub-blocks for a fit.
func (e *WindowEstimator) gather(n int, w warp) {
	e.series.number = e.series.number[:0]
	for r := range e.bank.omega {
		e.series.number = append(e.series.number, r+1)
	}
	e.series.gather(e.bank, 0, n, max(1, n/blocksInFit), e.fs, w)
}
