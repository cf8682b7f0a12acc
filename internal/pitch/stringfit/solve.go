package stringfit

import (
	"math"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// free solves for the free deviations. A partial without amplitude yet first gets one, with all
// rates held.
func (j *joint) free() {
	na := len(j.active)
	size := 2 * na
	factorHermitian(j.matrix, size, 1e-13)
	if j.amplitudes() {
		j.stale = true
		j.project()
		factorHermitian(j.matrix, size, 1e-13)
	}
	explained := j.explained()
	before := append(j.column[:0], j.rhs...)
	solveHermitian(j.matrix, size, j.rhs)
	for i, v := range before {
		explained += real(conj(v)*j.rhs[i]) * float64(j.s.length)
	}
	j.column = before
	j.noise(explained)
	j.inverse, j.column = scratch.Grow(j.inverse, na*na), scratch.Grow(j.column, na*na)
	invertTail(j.matrix, size, na, j.inverse, j.column)
	j.deviations()
}

// amplitudes solves for the amplitudes alone if some active partial has none, and reports
// whether it did. The leading block of the factor is the factor of the leading block.
func (j *joint) amplitudes() bool {
	na := len(j.active)
	missing := false
	for _, r := range j.active {
		missing = missing || j.c[r] == 0
	}
	if !missing {
		return false
	}
	j.inverse = scratch.Grow(j.inverse, na*na)
	for k := range na {
		copy(j.inverse[k*na:k*na+k+1], j.matrix[k*2*na:k*2*na+k+1])
	}
	solveHermitian(j.inverse, na, j.rhs[:na])
	for k, r := range j.active {
		j.c[r] += j.rhs[k]
		if j.c[r] == 0 {
			j.c[r] = complex(1e-30, 0)
		}
	}
	return true
}

// explained returns by how much the energy of the window exceeds that of what the model with its
// present amplitudes leaves of it; rhs must hold the products of basis and remainder.
func (j *joint) explained() float64 {
	n := j.s.n
	var sum float64
	for k, r := range j.active {
		z := j.s.at(r)
		var d complex128
		for i, e := range j.basis[k*n : (k+1)*n] {
			d += conj(e) * z[i]
		}
		// Energy is xᵀx − 2xᵀy + yᵀy; d is the product with x, rhs that with x − y.
		sum += real(conj(j.c[r]) * (d + j.rhs[k]))
	}
	return sum * float64(j.s.length)
}

// noise sets the power of the noise per sample from what the model leaves of the window's
// energy after this step, and the noise of every block accordingly.
func (j *joint) noise(explained float64) {
	free := max(1, float64(j.s.samples()-4*len(j.active)-2))
	// The difference of two large energies has few digits.
	j.white = max((j.s.energy-explained)/free, max(j.quiet/2, 1e-6*j.s.energy/float64(j.s.samples())))
	j.rho = scratch.Grow(j.rho, len(j.active))
	for k := range j.rho {
		j.rho[k] = j.white / float64(j.s.length)
	}
}

// deviations turns the solution into amplitudes, decays and deviations in cents with their
// covariance.
func (j *joint) deviations() {
	na := len(j.active)
	j.dev, j.devCov = scratch.Grow(j.dev, na), scratch.Grow(j.devCov, na*na)
	j.slopeB, j.extra, j.reach = scratch.Grow(j.slopeB, na), scratch.Grow(j.extra, na), scratch.Grow(j.reach, na)
	for k, r := range j.active {
		w := 2 * math.Pi * j.before[k]
		// Cents for one unit of the solution, as far as noise goes.
		j.reach[k] = complex(stiffstring.CentsPerNeper/(w*j.width[k]), 0) / j.c[r]
		j.dev[k] = j.off[r] + imag(j.rhs[na+k]*j.reach[k])
		j.slopeB[k] = stiffstring.PartialHzByB(j.f1, j.b, j.number[k]) / j.before[k] * stiffstring.CentsPerNeper
		j.extra[k] = 0
	}
	if j.diagonal {
		clear(j.devCov)
		for k := range na {
			j.devCov[k*na+k] = j.rho[k] * real(j.inverse[k*na+k]) * Power(j.reach[k])
		}
		return
	}
	for k := range na {
		for l := range k + 1 {
			v := math.Sqrt(j.rho[k]*j.rho[l]) * real(j.inverse[k*na+l]*j.reach[k]*conj(j.reach[l]))
			j.devCov[k*na+l], j.devCov[l*na+k] = v, v
		}
	}
}

// update takes over the changes of amplitude and decay that the solution asks for.
func (j *joint) update() {
	na := len(j.active)
	j.grown, j.slowed = scratch.Grow(j.grown, na), scratch.Grow(j.slowed, na)
	for k, r := range j.active {
		perS := 2 * math.Pi * j.before[k] / stiffstring.CentsPerNeper
		v := j.devCov[k*na+k] * perS * perS // [1/s²]
		step := -real(j.rhs[na+k]*j.reach[k]) * perS
		limit := 0.7 / j.width[k]
		a := j.alpha[r] + max(-limit, min(limit, step))
		a = j.allowed((a*decaySigma*decaySigma + decayMean*v) / (decaySigma*decaySigma + v))
		// The amplitude found is that at the centroid; it is kept as that at the loudest end.
		from := j.alpha[r] * (j.centre[k] - j.loudest(r))
		j.c[r] += j.rhs[k]
		j.grown[k] = math.Sqrt(Power(j.rhs[k]) / (Power(j.c[r]) + math.SmallestNonzeroFloat64))
		j.slowed[k] = a - j.alpha[r]
		j.alpha[r] = a
		j.c[r] *= complex(math.Exp(a*(j.centre[k]-j.loudest(r))-from), 0)
	}
}

// fitLaw fits the changes of f1 (cents) and B to the deviations by generalised least squares with
// covariance devCov and the prior of B, and sets sigma and sigmaB. The scatter of the partials
// about the law is, in the final fit, what was found (scatter, extra), and before that what must
// be expected.
func (j *joint) fitLaw(final bool) (dc, db float64, ok bool) {
	na := len(j.active)
	j.work = scratch.Grow(j.work, 3*na)
	one, slope, y := j.work[:na], j.work[na:2*na], j.work[2*na:3*na]
	for k := range na {
		one[k] = 1
	}
	copy(slope, j.slopeB)
	copy(y, j.dev)
	j.whiten(final, one, slope, y)
	var a11, a12, a22, b1, b2 float64
	for k := range na {
		a11 += one[k] * one[k]
		a12 += one[k] * slope[k]
		a22 += slope[k] * slope[k]
		b1 += one[k] * y[k]
		b2 += slope[k] * y[k]
	}
	p := 1 / (j.prior.Sigma * j.prior.Sigma)
	a22 += p
	b2 += p * (j.prior.Mean - j.b)
	det := a11*a22 - a12*a12
	if !(det > 0) || math.IsInf(det, 0) {
		return 0, 0, false
	}
	j.sigma, j.sigmaB, j.knownB = math.Sqrt(a22/det), math.Sqrt(a11/det), 1/a11
	return (a22*b1 - a12*b2) / det, (a11*b2 - a12*b1) / det, true
}

// whiten divides the vectors by the root (Cholesky factor) of the covariance of the deviations.
func (j *joint) whiten(final bool, vectors ...[]float64) {
	na := len(j.active)
	j.weights = scratch.Grow(j.weights, na*na)
	if !j.diagonal {
		copy(j.weights, j.devCov)
	}
	for k := range na {
		j.weights[k*na+k] = j.devCov[k*na+k] + j.scattered(k, final)
	}
	if j.diagonal {
		for k := range na {
			by := 1 / math.Sqrt(j.weights[k*na+k])
			for _, v := range vectors {
				v[k] *= by
			}
		}
		return
	}
	factorReal(j.weights, na)
	for _, v := range vectors {
		forwardReal(j.weights, na, v)
	}
}

// scattered returns the variance (cents²) that scatter about the law adds to active partial k.
func (j *joint) scattered(k int, final bool) float64 {
	if final {
		return j.extra[k] + 1e-18
	}
	return stiffstring.ScatterSigma(j.number[k]) * stiffstring.ScatterSigma(j.number[k])
}
