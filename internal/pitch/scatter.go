package pitch

import (
	"math"
	"slices"
)

// residuals replaces the white estimate of the noise by what is really left around each partial:
// noise there, and whatever the model does not hold (a second polarisation, hum, a wobble).
func (j *joint) residuals() {
	j.response()
	n, na := j.s.n, len(j.active)
	half := complex(0.5, 0)
	j.column = grow(j.column, n)
	for k, r := range j.active {
		left := j.column[:n]
		copy(left, j.s.at(r))
		var lost float64
		for l, rl := range j.active {
			f := half * j.kernel[k*na+l] * j.c[rl]
			m := half * j.mirror[k*na+l]
			c := j.c[rl]
			mc := m * complex(real(c), -imag(c))
			for i, e := range j.basis[l*n : (l+1)*n] {
				left[i] -= f*e + mc*complex(real(e), -imag(e))
			}
			v := real(j.kernel[k*na+l])
			lost += 2 * v * v // complex degrees of freedom that the fit took from these blocks
		}
		var power float64
		for _, v := range left {
			power += real(v)*real(v) + imag(v)*imag(v)
		}
		free := math.Max(float64(n)-lost, 0.2*float64(n))
		j.rho[k] = power / free
	}
}

// law makes the final fit of f1 and B to the free deviations: noise as found around each
// partial, outliers set aside, and the scatter of real partials about the law as a random effect
// (variance τ² for every partial; R. DerSimonian, N. Laird, Control. Clin. Trials 7 (1986) 177,
// with a robust estimate in place of their moment one, since partial 1 of real strings often lies
// cents off).
func (j *joint) law() bool {
	j.project()
	na := len(j.active)
	factorHermitian(j.matrix, 2*na, 1e-13)
	solveHermitian(j.matrix, 2*na, j.rhs)
	j.inverse, j.column = grow(j.inverse, na*na), grow(j.column, na)
	invertTail(j.matrix, 2*na, na, j.inverse, j.column)
	alpha := append([]float64(nil), j.alpha...)
	j.deviations()
	copy(j.alpha, alpha)
	j.scatter = 0
	left := make([]float64, na)
	var dc, db float64
	for range 12 {
		var ok bool
		if dc, db, ok = j.bind(); !ok {
			return false
		}
		for k := range left {
			left[k] = j.dev[k] - dc - db*j.slopeB[k]
		}
		scatter := j.robustScatter(left)
		moved := math.Abs(scatter-j.scatter) > 0.01*(scatter+1e-12)
		j.scatter = scatter
		moved = j.setAside(left) || moved
		if !moved {
			break
		}
	}
	j.f1 *= math.Exp(dc / centsPerNeper)
	j.b += db
	copy(j.dev, left)
	return true
}

// robustScatter returns the τ² for which the median of (residual²/(variance+τ²)) is that of a
// unit normal squared, 0.4549; zero unless the residuals are beyond what noise alone gives.
func (j *joint) robustScatter(left []float64) float64 {
	na := len(left)
	if na < 4 {
		return j.smallScatter(left)
	}
	ratio := make([]float64, na)
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
	for range 40 {
		mid := (lo + hi) / 2
		if median(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// smallScatter is τ² when there are too few partials to judge: the moment estimate.
func (j *joint) smallScatter(left []float64) float64 {
	na := len(left)
	if na < 3 {
		return 0
	}
	var sum float64
	for k, e := range left {
		sum += e*e - j.devCov[k*na+k]
	}
	return math.Max(0, sum/float64(na-2))
}

// setAside gives partials far off the law a variance of their own, and reports whether that
// changed anything.
func (j *joint) setAside(left []float64) bool {
	na := len(left)
	moved := false
	for k, e := range left {
		v := j.devCov[k*na+k] + j.scatter
		var extra float64
		if z2 := e * e / v; z2 > 9 {
			extra = e*e*z2/9 - v
		}
		if math.Abs(extra-j.extra[k]) > 0.05*(extra+v) {
			moved = true
		}
		j.extra[k] = extra
	}
	return moved
}
