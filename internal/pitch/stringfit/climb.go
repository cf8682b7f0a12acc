package stringfit

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tunerd/internal/stiffstring"
)

// A first fit begins with the lowest partials and climbs from there. Where these carry next to nothing of the sound it
// cannot: what it needs is a pitch and a stiffness whose higher partials are there.
const (
	climbLeft    = 0.5  // of the energy that a first fit leaves, from which that is looked for
	climbTop     = 10   // highest partial that is looked at
	climbS       = 0.03 // s of the sound that are, at least
	climbPeriods = 12.0 // of the note, the same
	climbGain    = 2.0  // times what the first fit explains that it must hold
	climbRange   = 2.5  // standard deviations of pitch and stiffness
	climbSteps   = 80   // of each, at most
	padding      = 4    // of the spectrum, times the length of the sound
	climbCost    = 0.02 // of the power, that a standard deviation squared costs: between two that hold the same, the likelier
)

// A hannSpectrum is that of a stretch of sound under a Hann window, padded to four times its length or more.
type hannSpectrum struct {
	n, size int
	plan    *fourier.FFT
	pad     []float64
	spec    []complex128
	power   []float64
	scale   float64 // power to energy of a partial in the stretch
}

func (h *hannSpectrum) take(x []float64) {
	size := 1
	for size < padding*len(x) {
		size *= 2
	}
	if size != h.size {
		h.size, h.plan = size, fourier.NewFFT(size)
		h.pad, h.spec, h.power = make([]float64, size), make([]complex128, size/2+1), make([]float64, size/2+1)
	}
	h.n = len(x)
	clear(h.pad)
	for i, v := range x {
		h.pad[i] = v * (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x))))
	}
	h.plan.Coefficients(h.spec, h.pad)
	for i, v := range h.spec {
		h.power[i] = Power(v)
	}
	// A Hann window of mean 1: a partial of amplitude a gives (a·n/2)², and has the energy a²·n/2.
	h.scale = 2 / float64(h.n)
}

// at returns the energy of a partial of frequency cycles a sample, as far as it is there.
func (h *hannSpectrum) at(cycles float64) float64 {
	i := int(cycles*float64(h.size) + 0.5)
	if i >= len(h.power) {
		return 0
	}
	return h.power[i] * h.scale
}

// climb looks, near k, for the pitch and the stiffness under which the lowest partials hold the most of x, and fits
// them. explained is what the first fit explains of the energy, as a part; it reports whether the other explains so
// much more that it is taken, and then has the note in the bank.
func (f *Fitter) climb(x []float64, at int64, k Start, explained float64) (Start, int, bool) {
	m := f.Bank.M
	n := min(len(x)/m, int(max(climbS, climbPeriods/k.F1Hz)*f.SampleRate/float64(m)))
	x = x[:n*m]
	h := &f.climbing
	h.take(x)
	var energy float64
	for _, v := range x {
		energy += v * v
	}
	best, held := h.search(k, float64(len(x))/f.SampleRate, f.SampleRate)
	if !(held > climbGain*explained*energy) {
		return k, 0, false
	}
	if !f.fitFirst(x, at, best) || 1-f.unexplained() < climbGain*explained {
		return k, 0, false
	}
	return best, n, true
}

// search looks, near k, for the pitch and the stiffness under which the lowest partials hold the most energy of a
// spectrum of span seconds, and returns them and that energy.
func (h *hannSpectrum) search(k Start, span, fs float64) (best Start, held float64) {
	top := topSearched(k.F1Hz, k.B, climbTop, fs)
	lowB, highB := max(0, k.Prior.Mean-climbRange*k.Prior.Sigma), k.Prior.Mean+climbRange*k.Prior.Sigma
	slope := stiffstring.PartialHzByB(k.F1Hz, k.Prior.Mean, top)
	stepB := max(stepOfBin/(span*slope), (highB-lowB)/climbSteps)
	stepC := max(stepOfBin/(span*stiffstring.PartialHz(k.F1Hz, k.B, top))*stiffstring.CentsPerNeper, 2*climbRange*k.SigmaCents/climbSteps)
	best = k
	best.SigmaCents, best.SigmaB, best.Top = min(k.SigmaCents, 2*stepC), min(k.Prior.Sigma, 2*stepB), top
	var most float64
	for c := -climbRange * k.SigmaCents; c <= climbRange*k.SigmaCents; c += stepC {
		f1 := k.F1Hz * math.Exp(c/stiffstring.CentsPerNeper)
		for b := lowB; b <= highB; b += stepB {
			var sum float64
			for number := 1; number <= top; number++ {
				sum += h.at(stiffstring.PartialHz(f1, b, number) / fs)
			}
			cost := square(c/k.SigmaCents) + square((b-k.Prior.Mean)/k.Prior.Sigma)
			if score := sum * (1 - climbCost*cost); score > most {
				most, held = score, sum
				best.F1Hz, best.B = f1, b
			}
		}
	}
	return best, held
}
