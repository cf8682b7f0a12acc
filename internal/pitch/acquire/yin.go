package acquire

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tunerd/internal/scratch"
)

// Yin finds the period of a window of samples.
//
// Method: A. de Cheveigné, H. Kawahara, "YIN, a fundamental frequency estimator for speech and
// music", J. Acoust. Soc. Am. 111 (2002) 1917: difference function (here by FFT), cumulative
// mean normalisation, threshold, parabolic interpolation. Because it looks for a period it
// needs no fundamental in the sound; because a stiff string has no exact period it reads up to
// 14 cents sharp there, so its result only starts the fit.
//
// The threshold adapts: of all dips the first (shortest period) is taken that comes within half
// as much again of the deepest, or below yinThreshold.
type Yin struct {
	plans      map[int]*fourier.FFT // by size: windows grow from try to try
	plan       *fourier.FFT
	size       int
	pad, other []float64
	spec, half []complex128
	d, norm    []float64
	lags       int // the longest in d and norm
}

// Which dip is taken. yinThreshold is lower than the 0.1 of the paper: a fit decides later. The others were chosen, not
// tuned on a cell of the accuracy tables; yin_test.go holds what they must do.
const (
	yinThreshold = 0.05
	dipPart      = 1.5  // of the deepest dip
	dipMore      = 0.02 // beside that
	stiffRoom    = 1.03 // by which a stiff string may repeat sooner than its partial 1: 51 cents; it reads up to 14 sharp
	leastFFT     = 4    // length of the shortest transform
)

// A Period is what Yin found.
type Period struct {
	Hz           float64
	Aperiodicity float64 // depth of the normalised dip: 0 is exactly periodic, 1 noise
	DeepestHz    float64 // of the period that repeats best: the same, a multiple, or another
	Deepest      float64 // aperiodicity of that
}

// prepare makes plan and work space for windows of n samples.
func (y *Yin) prepare(n int) {
	// Lags reach only over samples that are there: nothing wraps round.
	size := leastFFT
	for size < n && size+size/2 < n {
		size *= 2
	}
	if size < n {
		size += size / 2
	}
	if size == y.size {
		return
	}
	if y.plans == nil {
		y.plans = map[int]*fourier.FFT{}
	}
	if y.plans[size] == nil {
		y.plans[size] = fourier.NewFFT(size)
	}
	y.size, y.plan = size, y.plans[size]
	y.pad, y.other = scratch.Grow(y.pad, size), scratch.Grow(y.other, size)
	y.spec, y.half = scratch.Grow(y.spec, size/2+1), scratch.Grow(y.half, size/2+1)
	y.d, y.norm = scratch.Grow(y.d, size), scratch.Grow(y.norm, size)
}

// Find returns the period in x between minHz and maxHz at sample rate fs. The window must hold
// at least two periods of minHz; shorter ones raise the floor.
func (y *Yin) Find(x []float64, fs, minHz, maxHz float64) (Period, bool) {
	lags := min(int(fs/minHz)+2, len(x)/2)
	first := max(2, int(fs/maxHz))
	if first+2 >= lags {
		return Period{}, false
	}
	y.prepare(len(x))
	y.lags = lags
	y.difference(x, lags)
	y.normalise(lags)
	lag, deepest, ok := y.dip(first, lags, fs/maxHz/stiffRoom)
	if !ok {
		return Period{}, false
	}
	at, depth := y.bottom(lag)
	deepestAt, least := y.bottom(deepest)
	return Period{Hz: fs / at, Aperiodicity: depth, DeepestHz: fs / deepestAt, Deepest: least}, true
}

// bottom returns the place of the minimum near lag and how deep norm is there, not below 0: by a parabola
// through the neighbours or, for a period of few samples, between which high partials make the dip narrow, by
// band-limited interpolation.
func (y *Yin) bottom(lag int) (at, depth float64) {
	a, b, c := y.norm[lag-1], y.norm[lag], y.norm[lag+1]
	half := (a - c) / 2
	depth = max(0, b-half*half/(2*(a-2*b+c)))
	if lag < fineLags && lag+sincReach < y.lags && y.d[lag] > 0 {
		at, least := y.fine(lag)
		return at, max(0, min(b, b*least/y.d[lag]))
	}
	return float64(lag) + vertex(y.d[lag-1], y.d[lag], y.d[lag+1]), depth
}

const (
	fineLags  = 48 // lags below which a dip is looked at between them
	sincReach = 8  // lags to either side that such a value is made of
	fineSteps = 8  // values from lag to lag
)

// vertex returns where the parabola through three values has its minimum, in steps from the middle one; at
// most one.
func vertex(a, b, c float64) float64 {
	if bend := a - 2*b + c; bend > 0 {
		return max(-1, min(1, 0.5*(a-c)/bend))
	}
	return 0
}

// fine returns the place and value of the minimum of d within a lag of lag.
func (y *Yin) fine(lag int) (at, least float64) {
	var v [2*fineSteps + 1]float64
	best := 0
	for i := range v {
		v[i] = y.value(float64(lag) + float64(i-fineSteps)/fineSteps)
		if v[i] < v[best] {
			best = i
		}
	}
	at, least = float64(lag)+float64(best-fineSteps)/fineSteps, v[best]
	if best > 0 && best < len(v)-1 {
		a, b, c := v[best-1], v[best], v[best+1]
		shift := vertex(a, b, c)
		at += shift / fineSteps
		least -= shift * (a - c) / 2 / 2
	}
	return at, least
}

// value returns d at a lag between samples: a sum of sinc functions under a cosine. d is even.
func (y *Yin) value(lag float64) float64 {
	whole := int(math.Floor(lag))
	part := lag - float64(whole)
	if part == 0 {
		return y.d[whole]
	}
	sin := math.Sin(math.Pi*part) / math.Pi
	var sum, weights float64
	for i := 1 - sincReach; i <= sincReach; i++ {
		x := part - float64(i)
		w := sin / x * (1 + math.Cos(math.Pi/sincReach*x))
		if i&1 != 0 {
			w = -w
		}
		sum += w * y.d[max(whole+i, -whole-i)]
		weights += w
	}
	return sum / weights
}

// difference fills d[τ] = Σ_{i<w} (x[i] − x[i+τ])² for τ = 0..lags, w = len(x) − lags.
func (y *Yin) difference(x []float64, lags int) {
	var mean float64
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	w := len(x) - lags
	clear(y.pad)
	clear(y.other)
	for i, v := range x {
		y.pad[i] = v - mean
	}
	copy(y.other, y.pad[:w])
	y.plan.Coefficients(y.spec, y.pad)
	y.plan.Coefficients(y.half, y.other)
	for i, v := range y.half {
		y.spec[i] *= complex(real(v), -imag(v))
	}
	var head float64
	for _, v := range y.pad[:w] {
		head += v * v
	}
	tail := head
	x0 := y.other // free now: keep the centred samples, pad takes the correlation
	copy(x0, y.pad)
	y.plan.Sequence(y.pad, y.spec)
	scale := 2 / float64(y.size)
	for tau := range lags + 1 {
		y.d[tau] = max(0, head+tail-scale*y.pad[tau])
		if tau+w < len(x) {
			tail += x0[tau+w]*x0[tau+w] - x0[tau]*x0[tau]
		}
	}
	y.d[0] = 0
}

// normalise fills norm with d over the mean of d up to each lag.
func (y *Yin) normalise(lags int) {
	y.norm[0] = 1
	var sum float64
	for tau := 1; tau <= lags; tau++ {
		sum += y.d[tau]
		y.norm[tau] = 1
		if sum > 0 {
			y.norm[tau] = y.d[tau] * float64(tau) / sum
		}
	}
}

// dip returns the lags of the chosen and of the deepest local minimum of norm in [first, lags). How
// deep a minimum is counts between the lags: for a high note the period falls between two of them. None before
// shortest (samples) counts.
func (y *Yin) dip(first, lags int, shortest float64) (chosen, lowest int, ok bool) {
	deepest := math.Inf(1)
	for i := first; i < lags; i++ {
		if !y.local(i) {
			continue
		}
		if at, depth := y.bottom(i); depth < deepest && at > shortest {
			deepest, lowest = depth, i
		}
	}
	if lowest == 0 {
		return 0, 0, false
	}
	limit := deepest
	if deepest < 0.5 {
		limit = max(yinThreshold, dipPart*deepest+dipMore)
	}
	for i := first; i < lags; i++ {
		if !y.local(i) {
			continue
		}
		if at, depth := y.bottom(i); depth <= limit && at > shortest {
			return i, lowest, true
		}
	}
	return lowest, lowest, true
}

// local reports whether norm has a minimum at lag i.
func (y *Yin) local(i int) bool { return y.norm[i] < y.norm[i-1] && y.norm[i] <= y.norm[i+1] }
