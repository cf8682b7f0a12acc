package stringfit

import (
	"math"
	"slices"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// residuals replaces the white estimate of the noise by what is really left around each partial:
// noise there, and whatever the model does not hold (a second polarisation, hum, a wobble).
func (j *joint) residuals() {
	j.waves()
	j.subtractOtherPartials(false)
	j.remainder()
	n, na := j.s.n, len(j.active)
	j.rho = scratch.Grow(j.rho, na)
	for k := range na {
		var lost, left float64
		for _, f := range j.kernel[k*na : (k+1)*na] {
			lost += 2 * real(f) * real(f) // complex degrees of freedom that the fit took from these blocks
		}
		for _, v := range j.left[k*n : (k+1)*n] {
			left += Power(v)
		}
		j.rho[k] = left / max(float64(n)-lost, 0.2*float64(n))
	}
	j.forgetBuried()
}

// forgetBuried forgets what was found of partials that do not stand out of what is left around them, so that
// no later fit takes a peak of the noise for a partial, and keeps a low quartile of the noise.
func (j *joint) forgetBuried() {
	j.ratios = append(j.ratios[:0], j.rho...)
	slices.Sort(j.ratios)
	j.quiet = j.ratios[len(j.ratios)/4] * float64(j.s.length)
	for k, r := range j.active {
		if j.seen[r] == found && Power(j.c[r])*j.mass[k] < 4*significant*j.rho[k] {
			j.forget(r)
			j.seen[r] = buried
		}
	}
}

// significant is the energy of a partial in the window, in units of the noise of one block, from which
// it is taken to be there.
const significant = 6

// law makes the final fit of f1 and B to the free deviations, with the noise found around each
// partial and the scatter of real partials about the law as a random effect: nothing if noise
// explains the deviations (ideal strings), else a distribution with heavy tails, since single
// partials of real strings, the lowest above all, lie cents off where others keep to 0.3 cent.
func (j *joint) law() bool {
	na := len(j.active)
	if j.brief {
		return j.lawWithPriors()
	}
	if j.diagonal {
		j.signal = j.correlate()
		for k := range na {
			j.rhs[na+k] /= complex(j.gain(k), 0)
		}
		j.spreadless()
	} else {
		j.project()
		j.signal = j.explained()
		factorHermitian(j.matrix, 2*na, 1e-13)
		solveHermitian(j.matrix, 2*na, j.rhs)
		j.inverse, j.column = scratch.Grow(j.inverse, na*na), scratch.Grow(j.column, na*na)
		invertTail(j.matrix, 2*na, na, j.inverse, j.column)
		j.deviations()
	}
	j.scatter = 0
	j.residue = scratch.Grow(j.residue, na)
	left := j.residue
	clear(left)
	heard := j.heard()
	var dc, db float64
	for pass := range 60 {
		var ok bool
		if dc, db, ok = j.fitLaw(true); !ok {
			return false
		}
		var moved float64
		for k := range left {
			e := j.dev[k] - dc - db*j.slopeB[k]
			moved = max(moved, math.Abs(e-left[k]))
			left[k] = e
		}
		if pass == 0 {
			j.scatter = j.scale(left, heard)
		}
		if j.scatter == 0 {
			break
		}
		if moved < 1e-3 && pass > 8 {
			if j.agreed(left) {
				break
			}
			j.scatter *= 2
		}
		j.spread(left, max(1, 8-float64(pass)))
	}
	j.f1 *= math.Exp(dc / stiffstring.CentsPerNeper)
	j.b += db
	copy(j.dev, left)
	// What scatters the partials (a second polarisation, the bridge) also moves them all a little in
	// common, which their spread about the law cannot show.
	j.variance = j.lawVariance(j.knownB, stiffstring.CommonScatter*j.scatter*stiffstring.ScatterWidth(MaxPartials))
	j.sigma = j.variance.SigmaCents()
	return true
}

// scale returns how wide the scatter is, as a part of lawWidth: 0 when noise alone explains the
// deviations, or when there are so few partials that there is no law to be off.
func (j *joint) scale(left []float64, heard int) float64 {
	if heard < 3 {
		return 0
	}
	if heard < 8 {
		return min(1, j.atMost(left, heard))
	}
	if j.noiseExplains(left, heard) {
		return 0
	}
	return min(1, math.Sqrt(j.robustScatter(left))/0.3)
}

// atMost returns how wide the scatter is at most, as a part of lawWidth: where a few partials keep to the law so
// closely, a wider one would have them do so in one window of twenty. Less than five tell nothing.
func (j *joint) atMost(left []float64, heard int) float64 {
	low := [...]float64{5: 0.352, 6: 0.711, 7: 1.145} // χ² of heard − 2 that nineteen of twenty exceed
	if heard < 5 {
		return 1
	}
	var sum float64
	for k, e := range left {
		if j.hears(k) {
			w := stiffstring.ScatterWidth(j.number[k])
			sum += e * e / (w * w)
		}
	}
	return math.Sqrt(sum / low[heard])
}

// noiseExplains reports whether the deviations of the partials that are heard, with their correlations,
// are no larger than noise makes them in all but one of a thousand windows.
func (j *joint) noiseExplains(left []float64, heard int) bool {
	na := len(left)
	j.ratios = append(j.ratios[:0], left...)
	for k := range na {
		j.extra[k] = 0
		if !j.hears(k) {
			j.extra[k] = 1e6 // cents²: it says nothing
		}
	}
	j.whiten(true, j.ratios)
	var chi2 float64
	for k, e := range j.ratios {
		chi2 += e * e
		j.extra[k] = 0
	}
	return chi2 < chiSquared(float64(heard-2), 3.09)
}

// chiSquared returns what χ² of n degrees of freedom exceeds as often as a unit normal exceeds z.
// Source: E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684.
func chiSquared(n, z float64) float64 {
	t := 1 - 2/(9*n) + z*math.Sqrt(2/(9*n))
	return n * t * t * t
}

// agreed reports whether enough of the well measured partials lie within the width of the scatter
// for the law to be more than a chance alignment of a few: a third of them, and five.
func (j *joint) agreed(left []float64) bool {
	na := len(left)
	var sharp, within int
	for k, e := range left {
		s := j.scatter * stiffstring.ScatterWidth(j.number[k])
		v := j.devCov[k*na+k]
		if v > 0.25 && v > s*s {
			continue
		}
		sharp++
		if e*e < 4*(v+s*s) {
			within++
		}
	}
	return within >= min(5, sharp) && 3*within >= sharp
}

// spread sets the variance that each partial's scatter adds: s² + e² makes the fit that of a
// Cauchy distribution of half width s (iteratively reweighted least squares). It is approached
// from a wide one, so that the fit does not stick to a chance pair of partials.
func (j *joint) spread(left []float64, wide float64) {
	for k, e := range left {
		s := j.scatter * stiffstring.ScatterWidth(j.number[k]) * wide
		j.extra[k] = s*s + e*e
	}
}

// robustScatter returns the τ² for which the median of (residual²/(variance+τ²)) is that of a
// unit normal squared, 0.4549; zero unless the residuals are beyond what noise alone gives.
func (j *joint) robustScatter(left []float64) float64 {
	na := len(left)
	j.ratios = scratch.Grow(j.ratios, na)
	ratio := j.ratios
	median := func(tau2 float64) float64 {
		for k, e := range left {
			ratio[k] = e * e / (j.devCov[k*na+k] + tau2 + 1e-18)
		}
		slices.Sort(ratio)
		return (ratio[(na-1)/2] + ratio[na/2]) / 2
	}
	// Fitting took two degrees of freedom.
	want := 0.4549 * float64(na-2) / float64(na)
	// The median of n squared normals strays by about 0.9/√n of itself: no scatter is taken for
	// real within two of these.
	if median(0) < want*(1+2.2*1.5/math.Sqrt(float64(na))) {
		return 0
	}
	lo, hi := 0.0, 1.0
	for median(hi) > want && hi < 1e6 {
		hi *= 4
	}
	for range 25 {
		mid := (lo + hi) / 2
		if median(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// heard returns how many partials are known better than the scatter expected of them.
func (j *joint) heard() int {
	n := 0
	for k := range j.active {
		if j.hears(k) {
			n++
		}
	}
	return n
}

// hears reports whether active partial k is known better than the scatter expected of it.
func (j *joint) hears(k int) bool {
	t := stiffstring.ScatterSigma(j.number[k])
	return j.devCov[k*len(j.active)+k] < t*t
}
