package stringfit

import (
	"math"
	"slices"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A lawFit is the fit of f1 and B to the free deviations of the partials by generalised least squares, with the
// scatter of real partials about the law of a stiff string as a random effect.
type lawFit struct {
	part     []activePartial // those that the deviations are of
	separate bool            // they share nothing: the covariance is diagonal

	dev []float64 // [cents] free deviation of each partial from the law; after the final fit, what is left of it
	cov []float64 // [cents²] partials × partials

	extra   []float64 // [cents²] variance that its scatter about the law adds to a partial
	scatter float64   // width of the scatter of partials about the law, as a part of that of [stiffstring.ScatterWidth]
	known   float64   // [cents²] variance of f1 if B were known

	weights []float64    // Cholesky factor of cov plus scatter
	reach   []complex128 // [cents] that one unit of a free rate's solution means
	one     []float64    // work space: 1, d(cents)/dB and the deviation of each partial, whitened
	slope   []float64
	dist    []float64
	left    []float64 // [cents] deviation of each partial from the law that is being fitted
	ratios  []float64
}

// Least variances (cents²) that keep a covariance regular: that of partials which noise hardly disturbs, and that of
// one which is to say nothing.
const (
	leastVariance   = 1e-18
	silencingFactor = 1e6
)

// take takes the deviations of the partials and their covariance from the solution of the equations.
func (l *lawFit) take(m *model, b *basis, q *equations, separate bool) {
	na := len(b.part)
	l.part, l.separate = b.part, separate
	l.dev, l.cov = scratch.Grow(l.dev, na), scratch.Grow(l.cov, na*na)
	l.extra, l.reach = scratch.Grow(l.extra, na), scratch.Grow(l.reach, na)
	for k := range b.part {
		p := &b.part[k]
		w := 2 * math.Pi * p.hz
		// Cents for one unit of the solution, as far as noise goes.
		l.reach[k] = complex(stiffstring.CentsPerNeper/(w*p.width), 0) / m.row[p.row].c
		l.dev[k] = m.row[p.row].off + imag(q.rhs[na+k]*l.reach[k])
		l.extra[k] = 0
	}
	if separate {
		clear(l.cov)
		for k := range na {
			l.cov[k*na+k] = b.part[k].rho * real(q.inverse[k*na+k]) * Power(l.reach[k])
		}
		return
	}
	for k := range na {
		for i := range k + 1 {
			v := math.Sqrt(b.part[k].rho*b.part[i].rho) * real(q.inverse[k*na+i]*l.reach[k]*conj(l.reach[i]))
			l.cov[k*na+i], l.cov[i*na+k] = v, v
		}
	}
}

// variance returns the variance (cents²) of the deviation of partial k.
func (l *lawFit) variance(k int) float64 { return l.cov[k*len(l.part)+k] }

// fit fits the changes of f1 (cents) and B to the deviations with their covariance and the prior of B, and sets
// their uncertainties in m. The scatter of the partials about the law is, in the final fit, what was found (scatter,
// extra), and before that what must be expected.
func (l *lawFit) fit(m *model, final bool) (dc, db float64, ok bool) {
	na := len(l.part)
	l.one, l.slope, l.dist = scratch.Grow(l.one, na), scratch.Grow(l.slope, na), scratch.Grow(l.dist, na)
	one, slope, y := l.one, l.slope, l.dist
	for k := range l.part {
		one[k], slope[k] = 1, l.part[k].slopeB
	}
	copy(y, l.dev)
	l.whiten(final, one, slope, y)
	var a11, a12, a22, b1, b2 float64
	for k := range na {
		a11 += one[k] * one[k]
		a12 += one[k] * slope[k]
		a22 += slope[k] * slope[k]
		b1 += one[k] * y[k]
		b2 += slope[k] * y[k]
	}
	p := 1 / (m.prior.Sigma * m.prior.Sigma)
	a22 += p
	b2 += p * (m.prior.Mean - m.b)
	det := a11*a22 - a12*a12
	if !(det > 0) || math.IsInf(det, 0) {
		return 0, 0, false
	}
	m.sigma, m.sigmaB, l.known = math.Sqrt(a22/det), math.Sqrt(a11/det), 1/a11
	return (a22*b1 - a12*b2) / det, (a11*b2 - a12*b1) / det, true
}

// whiten divides the vectors by the root (Cholesky factor) of the covariance of the deviations, scatter included.
func (l *lawFit) whiten(final bool, vectors ...[]float64) {
	na := len(l.part)
	l.weights = scratch.Grow(l.weights, na*na)
	if !l.separate {
		copy(l.weights, l.cov)
	}
	for k := range na {
		l.weights[k*na+k] = l.variance(k) + l.scattered(k, final)
	}
	if l.separate {
		for k := range na {
			by := 1 / math.Sqrt(l.weights[k*na+k])
			for _, v := range vectors {
				v[k] *= by
			}
		}
		return
	}
	factorReal(l.weights, na)
	for _, v := range vectors {
		forwardReal(l.weights, na, v)
	}
}

// scattered returns the variance (cents²) that scatter about the law adds to partial k.
func (l *lawFit) scattered(k int, final bool) float64 {
	if final {
		return l.extra[k] + leastVariance
	}
	return square(stiffstring.ScatterSigma(l.part[k].number))
}

// How the final fit goes on until it stands: passes at most, the least of them, and what moves no more.
const (
	finalPasses  = 60
	widePasses   = 8    // in which the width of the scatter comes down from as many times what it is
	settledCents = 1e-3 // of the deviations
)

// fitScattered is the final fit, with the scatter of real partials: nothing if noise explains the deviations (ideal
// strings), else a distribution with heavy tails, since single partials of real strings, the lowest above all, lie
// cents off where others keep to 0.3 cent. It leaves in dev what each partial lies off the law.
func (l *lawFit) fitScattered(m *model) (dc, db float64, ok bool) {
	l.scatter = 0
	l.left = scratch.Grow(l.left, len(l.part))
	clear(l.left)
	heard := l.heard()
	for pass := range finalPasses {
		if dc, db, ok = l.fit(m, true); !ok {
			return 0, 0, false
		}
		var moved float64
		for k := range l.left {
			e := l.dev[k] - dc - db*l.part[k].slopeB
			moved = max(moved, math.Abs(e-l.left[k]))
			l.left[k] = e
		}
		if pass == 0 {
			l.scatter = l.scale(heard)
		}
		if l.scatter == 0 {
			break
		}
		if moved < settledCents && pass > widePasses {
			if l.agreed() {
				break
			}
			l.scatter *= 2
		}
		l.spread(max(1, widePasses-float64(pass)))
	}
	copy(l.dev, l.left)
	return dc, db, true
}

// How many partials must be heard for their scatter about the law to be measured: fewer show at most how wide it is,
// and less than fewestToLaw have no law to be off, which takes two numbers of them.
const (
	fewestToLaw     = 3
	fewestToBound   = 5
	fewestToMeasure = 8
)

// scale returns how wide the scatter is, 1 at most: 0 when noise alone explains the deviations, or when there are so
// few partials that there is no law to be off.
func (l *lawFit) scale(heard int) float64 {
	if heard < fewestToLaw {
		return 0
	}
	if heard < fewestToMeasure {
		return min(1, l.atMost(heard))
	}
	if l.noiseExplains(heard) {
		return 0
	}
	return min(1, math.Sqrt(l.robustScatter())/stiffstring.UpperScatterWidth)
}

// chiSquaredLow is, for so many partials heard, the χ² of two fewer degrees of freedom that nineteen of twenty
// exceed. Source: tables of χ², 5 %.
var chiSquaredLow = [fewestToMeasure]float64{5: 0.352, 6: 0.711, 7: 1.145}

// atMost returns how wide the scatter is at most: where a few partials keep to the law so closely, a wider one would
// have them do so in one window of twenty. Less than five tell nothing.
func (l *lawFit) atMost(heard int) float64 {
	if heard < fewestToBound {
		return 1
	}
	var sum float64
	for k, e := range l.left {
		if l.hears(k) {
			w := stiffstring.ScatterWidth(l.part[k].number)
			sum += e * e / (w * w)
		}
	}
	return math.Sqrt(sum / chiSquaredLow[heard])
}

// oneInThousand is how many standard deviations a unit normal exceeds once in a thousand times.
const oneInThousand = 3.09

// noiseExplains reports whether the deviations of the partials that are heard, with their correlations,
// are no larger than noise makes them in all but one of a thousand windows.
func (l *lawFit) noiseExplains(heard int) bool {
	l.ratios = append(l.ratios[:0], l.left...)
	for k := range l.part {
		l.extra[k] = 0
		if !l.hears(k) {
			l.extra[k] = silencingFactor
		}
	}
	l.whiten(true, l.ratios)
	var chi2 float64
	for k, e := range l.ratios {
		chi2 += e * e
		l.extra[k] = 0
	}
	return chi2 < chiSquared(float64(heard-2), oneInThousand)
}

// chiSquared returns what χ² of n degrees of freedom exceeds as often as a unit normal exceeds z.
// Source: E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684.
func chiSquared(n, z float64) float64 {
	const ninths = 9
	t := 1 - 2/(ninths*n) + z*math.Sqrt(2/(ninths*n))
	return n * t * t * t
}

// A law on which so many of the well measured partials agree is more than a chance alignment of a few.
const (
	agreedPart = 3    // one of so many
	agreedMost = 5    // or all, of fewer
	agreedTwo  = 4    // variances within which one agrees: two standard deviations
	sharpVar   = 0.25 // cents² up to which one is well measured, whatever the scatter
)

// agreed reports whether enough of the well measured partials lie within the width of the scatter for the law to be
// more than a chance alignment.
func (l *lawFit) agreed() bool {
	var sharp, within int
	for k, e := range l.left {
		s := l.scatter * stiffstring.ScatterWidth(l.part[k].number)
		v := l.variance(k)
		if v > sharpVar && v > s*s {
			continue
		}
		sharp++
		if e*e < agreedTwo*(v+s*s) {
			within++
		}
	}
	return within >= min(agreedMost, sharp) && agreedPart*within >= sharp
}

// spread sets the variance that each partial's scatter adds: s² + e² makes the fit that of a
// Cauchy distribution of half width s (iteratively reweighted least squares). It is approached
// from a wide one, so that the fit does not stick to a chance pair of partials.
func (l *lawFit) spread(wide float64) {
	for k, e := range l.left {
		s := l.scatter * stiffstring.ScatterWidth(l.part[k].number) * wide
		l.extra[k] = s*s + e*e
	}
}

// The median of squares of unit normals, and by how much of itself that of n strays, times √n: no scatter is taken
// for real within so many of these.
const (
	medianOfSquares = 0.4549
	medianStrays    = 2.2
	medianDoubt     = 1.5
)

// robustScatter returns the τ² for which the median of (deviation²/(variance+τ²)) is that of a
// unit normal squared; zero unless the deviations are beyond what noise alone gives.
func (l *lawFit) robustScatter() float64 {
	na := float64(len(l.part))
	want := medianOfSquares * (na - 2) / na // fitting took two degrees of freedom
	if l.medianRatio(0) < want*(1+medianStrays*medianDoubt/math.Sqrt(na)) {
		return 0
	}
	const (
		widest    = 1e6 // cents²
		steps     = 4.0 // by which the bracket grows
		halvings  = 25  // of it: to a part in 3·10⁷
		firstHigh = 1.0 // cents²
	)
	lo, hi := 0.0, firstHigh
	for l.medianRatio(hi) > want && hi < widest {
		hi *= steps
	}
	for range halvings {
		mid := (lo + hi) / 2
		if l.medianRatio(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// medianRatio returns the median of deviation²/(variance+tau2).
func (l *lawFit) medianRatio(tau2 float64) float64 {
	na := len(l.part)
	l.ratios = scratch.Grow(l.ratios, na)
	for k, e := range l.left {
		l.ratios[k] = e * e / (l.variance(k) + tau2 + leastVariance)
	}
	slices.Sort(l.ratios)
	return (l.ratios[(na-1)/2] + l.ratios[na/2]) / 2
}

// heard returns how many partials are known better than the scatter expected of them.
func (l *lawFit) heard() int {
	n := 0
	for k := range l.part {
		if l.hears(k) {
			n++
		}
	}
	return n
}

// hears reports whether partial k is known better than the scatter expected of it.
func (l *lawFit) hears(k int) bool {
	return l.variance(k) < square(stiffstring.ScatterSigma(l.part[k].number))
}

// varianceOf returns what the variance of f1 in the last fit of the law is made of, by which it is known to sigma
// (cents), where scatter moves all partials in common by common (cents).
func (l *lawFit) varianceOf(sigma, common float64) Variance {
	return Variance{Noise: l.known, Stiffness: max(0, sigma*sigma-l.known), Scatter: common * common}
}

// split tells, in a variance of the last fit of the law, noise from the scatter of single partials: what is left
// of its noise if each partial kept to the law. Where nothing scatters, or priors hold the fit, the two are not told
// apart.
func (l *lawFit) split(v Variance) Variance {
	noise := l.noiseAlone()
	if noise < v.Noise {
		v.Noise, v.Scatter = noise, v.Scatter+v.Noise-noise
	}
	return v
}

// noiseAlone returns the variance (cents²) that f1 would have, B known, if the partials kept to the law.
func (l *lawFit) noiseAlone() float64 {
	na := len(l.part)
	l.weights, l.one = scratch.Grow(l.weights, na*na), scratch.Grow(l.one, na)
	copy(l.weights, l.cov)
	one := l.one
	for k := range one {
		one[k] = 1
	}
	if l.separate {
		for k := range one {
			one[k] /= math.Sqrt(l.weights[k*na+k])
		}
	} else {
		factorReal(l.weights, na)
		forwardReal(l.weights, na, one)
	}
	var info float64
	for _, v := range one {
		info += v * v
	}
	return 1 / info
}
