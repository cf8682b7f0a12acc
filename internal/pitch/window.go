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

// A WindowEstimator reads the pitch of one window of samples in which one note sounds
// throughout. The pitch is that at the middle of the window; a slow drift within it is followed.
//
// It holds its work space and serves one goroutine.
type WindowEstimator struct {
	fit   fitter
	yin   yin
	parts []Partial
}

// NewWindowEstimator returns an estimator for sampleRate in Hz, 8000 to 192000.
func NewWindowEstimator(sampleRate float64) (*WindowEstimator, error) {
	if !(sampleRate >= minSampleRate && sampleRate <= maxSampleRate) {
		return nil, fmt.Errorf("pitch: sample rate %g Hz is outside %d-%d Hz", sampleRate, minSampleRate, maxSampleRate)
	}
	return &WindowEstimator{fit: fitter{fs: sampleRate}}, nil
}

// Estimate reads the pitch of x, looking between minHz and maxHz. The reading's At is the number
// of samples in x; its Partials are valid until the next call. It reports false if nothing with
// a pitch sounds. x should hold at least three periods of minHz.
func (e *WindowEstimator) Estimate(x []float64, minHz, maxHz float64) (Reading, bool) {
	p, ok := e.yin.find(x, e.fit.fs, minHz, maxHz)
	if !ok || p.aperiodicity > 0.5 {
		return Reading{}, false
	}
	return e.Around(x, p.hz, 12)
}

// Around is Estimate for a pitch known beforehand to about sigmaCents (one standard deviation).
func (e *WindowEstimator) Around(x []float64, f1, sigmaCents float64) (Reading, bool) {
	if !e.refine(x, f1, sigmaCents) {
		return Reading{}, false
	}
	r := Reading{At: int64(len(x)), State: Sounding}
	r.Partials = e.parts[:0]
	e.fit.read(&r)
	e.parts = r.Partials
	return r, true
}

// refine fits the law to x. It begins with as much of the front of x as the knowledge of f1 can
// follow and lengthens from there.
func (e *WindowEstimator) refine(x []float64, f1, sigmaCents float64) bool {
	f := &e.fit
	m := subBlock(f.fs)
	for m > 4 && len(x)/m < blocksInFit/2 {
		m /= 2
	}
	total := len(x) / m
	if total < 6 {
		return false
	}
	if f.bank == nil || f.bank.m != m || len(f.bank.energy) < total {
		f.bank = newBank(m, maxPartials, total)
	}
	k := first(f1, sigmaCents)
	prior := k.prior
	f.warp = warp{}
	span := reach(f1, sigmaCents)
	for {
		n := total
		if float64(n*m)/f.fs > 1.3*span {
			n = int(span * f.fs / float64(m))
		}
		if n < 6 {
			return false
		}
		f.tune(k.f1, k.b, 0)
		for i := range n {
			f.bank.push(x[i*m:])
		}
		move := still
		if n == total {
			move = drifts
		}
		if !f.follow(0, n, k, move, 0) {
			return false
		}
		if n == total {
			return true
		}
		k = f.learned(prior)
		span = math.Max(2*span, 1.5*float64(n*m)/f.fs)
	}
}
