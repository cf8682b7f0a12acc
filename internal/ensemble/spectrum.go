package ensemble

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// peakAbove is the power over the noise floor from which a local maximum counts as a peak. White
// noise exceeds it once in e^20 bins.
const peakAbove = 20.0

// spareHz is how far above the highest frequency of interest the noise floor is taken from.
const spareHz = 190.0

// A peak is a local maximum of the spectrum.
type peak struct {
	hz    float64
	db    float64 // level re full scale
	claim int     // string whose partial it is taken for; -1: none
}

// A spectrum finds the peaks of a stretch of sound under a Hann window.
type spectrum struct {
	fs, top  float64 // [Hz] sample rate, highest frequency of interest
	n        int     // samples in the stretch
	thin     thinner
	window   []float64
	padded   []float64
	bins     []complex128
	power    []float64
	floor    []float64 // by band of bandBins
	sorted   []float64
	plan     *fourier.FFT
	peaks    []peak
	nearest  []int32 // by bin: index of the nearest peak, -1 without any
	binHz    float64
	loudest  float64 // [dB]
	skirtHz  float64 // half the main lobe
	binCount int
}

// bandBins is how many bins share one value of the noise floor.
const bandBins = 128

// newSpectrum returns the plan for stretches of n samples.
func newSpectrum(n int, fs, top float64) *spectrum {
	thin := newThinner(fs, top+spareHz)
	kept := n / thin.by
	size := 1
	for size < kept+kept/4 {
		size *= 2
	}
	s := &spectrum{
		fs: fs, top: top, n: n, thin: thin, window: make([]float64, kept), padded: make([]float64, size),
		bins: make([]complex128, size/2+1), plan: fourier.NewFFT(size), binHz: fs / float64(thin.by) / float64(size),
		skirtHz: 2 * fs / float64(n), sorted: make([]float64, bandBins),
	}
	s.binCount = min(int(top/s.binHz)+2*bandBins, size/2)
	s.power = make([]float64, s.binCount)
	s.floor = make([]float64, s.binCount/bandBins+1)
	s.nearest = make([]int32, s.binCount)
	s.peaks = make([]peak, 0, s.binCount/2)
	for i := range s.window {
		s.window[i] = (1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(kept))) / float64(kept) * 2
	}
	return s
}

// find sets peaks to those of x, lowest first. Levels are peak amplitudes of sinusoids.
func (s *spectrum) find(x []float64) {
	kept := s.padded[:len(s.window)]
	s.thin.thin(kept, x)
	for i, w := range s.window {
		kept[i] *= w
	}
	clear(s.padded[len(kept):])
	s.plan.Coefficients(s.bins, s.padded)
	for i := range s.power {
		v := s.bins[i]
		s.power[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	s.estimateFloor()
	s.collect()
	s.index()
}

// estimateFloor takes the noise floor of each band from its median, which is ln 2 times the mean
// for noise and hardly moved by the partials in the band.
func (s *spectrum) estimateFloor() {
	for b := range s.floor {
		part := s.power[min(b*bandBins, len(s.power)-bandBins):][:bandBins]
		copy(s.sorted, part)
		slices.Sort(s.sorted)
		s.floor[b] = s.sorted[bandBins/2] / math.Ln2
	}
}

// collect lists the local maxima that stand out of the floor.
func (s *spectrum) collect() {
	s.peaks = s.peaks[:0]
	s.loudest = math.Inf(-1)
	reach := max(1, int(0.3*s.skirtHz/s.binHz))
	for i := reach; i < len(s.power)-reach; i++ {
		p := s.power[i]
		if p < peakAbove*s.floor[i/bandBins] || p < s.power[i-1] || p <= s.power[i+1] || p < 1e-14 {
			continue
		}
		a, b, c := math.Log(s.power[i-1]+1e-30), math.Log(p), math.Log(s.power[i+1]+1e-30)
		shift := 0.5 * (a - c) / (a - 2*b + c)
		db := 10 / math.Ln10 * (b - 0.25*(a-c)*shift)
		s.peaks = append(s.peaks, peak{hz: (float64(i) + shift) * s.binHz, db: db, claim: -1})
		s.loudest = math.Max(s.loudest, db)
	}
}

// index prepares near.
func (s *spectrum) index() {
	at := 0
	for i := range s.nearest {
		if len(s.peaks) == 0 {
			s.nearest[i] = -1
			continue
		}
		hz := (float64(i) + 0.5) * s.binHz
		for at+1 < len(s.peaks) && math.Abs(s.peaks[at+1].hz-hz) < math.Abs(s.peaks[at].hz-hz) {
			at++
		}
		s.nearest[i] = int32(at)
	}
}

// near returns the peak nearest to hz, nil if there is none.
func (s *spectrum) near(hz float64) *peak {
	i := int(hz / s.binHz)
	if i < 0 || i >= len(s.nearest) || s.nearest[i] < 0 {
		return nil
	}
	return &s.peaks[s.nearest[i]]
}
