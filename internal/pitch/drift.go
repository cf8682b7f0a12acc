package pitch

import "math"

// drift returns how the sound ran against the fitted model, block by block and over all
// partials together: shift[b] is the extra time (s) by which its phases lead, weight[b] the
// inverse of its variance (1/s²). residuals must have run.
func (j *joint) drift(shift, weight []float64) {
	clear(shift)
	clear(weight)
	n, na := j.s.n, len(j.active)
	for k, r := range j.active {
		w := 2 * math.Pi * j.hz(k)
		gain := 0.5 * j.kernel[k*na+k] * j.c[r]
		for i, e := range j.basis[k*n : (k+1)*n] {
			own := gain * e
			p := real(own)*real(own) + imag(own)*imag(own)
			left := j.left[k*n+i]
			// Phase of (own+left)/own; the partial must stand out of what is left.
			re := p + real(left)*real(own) + imag(left)*imag(own)
			im := imag(left)*real(own) - real(left)*imag(own)
			if p < 4*j.rho[k] || re < 0.3*p {
				continue
			}
			v := 2 * w * w * p / j.rho[k]
			shift[i] += v * math.Atan2(im, re) / w
			weight[i] += v
		}
	}
	for i, v := range weight {
		if v > 0 {
			shift[i] /= v
		}
	}
}

// A line is a weighted least-squares fit y ≈ a + b·t + Σ d_i·g_i(t) with priors on d.
type line struct {
	offset, slope float64
	extra         [2]float64 // d
	offsetVar     float64    // of offset, in units of the weights
	slopeVar      float64    // of slope
	extraVar      [2]float64
	chi2          float64 // weighted sum of squared residuals, priors included
	logDet        float64 // of the information matrix
	used          int
}

// fitLine fits y over t with inverse variances w; g holds at most two further functions, each
// with the inverse variance prior of its zero-mean prior.
func fitLine(t, y, w []float64, g [][]float64, prior []float64) (line, bool) {
	size := 2 + len(g)
	var a [16]float64
	var b [4]float64
	var out line
	var row [4]float64
	basis := func(i int) []float64 {
		row[0], row[1] = 1, t[i]
		for m := range g {
			row[2+m] = g[m][i]
		}
		return row[:size]
	}
	for i, v := range w {
		if v <= 0 {
			continue
		}
		out.used++
		r := basis(i)
		for p, rp := range r {
			b[p] += v * rp * y[i]
			for q := range p + 1 {
				a[p*size+q] += v * rp * r[q]
			}
		}
	}
	for m := range g {
		a[(2+m)*size+2+m] += prior[m]
	}
	if out.used < size || !(a[0] > 0) {
		return out, false
	}
	l := a[:size*size]
	factorReal(l, size)
	for p := range size {
		out.logDet += 2 * math.Log(l[p*size+p])
	}
	x := b[:size]
	forwardReal(l, size, x)
	backwardReal(l, size, x)
	out.offset, out.slope = x[0], x[1]
	out.offsetVar = inverseEntry(l, size, 0)
	out.slopeVar = inverseEntry(l, size, 1)
	for m := range g {
		out.extra[m] = x[2+m]
		out.extraVar[m] = inverseEntry(l, size, 2+m)
		out.chi2 += prior[m] * x[2+m] * x[2+m]
	}
	for i, v := range w {
		if v <= 0 {
			continue
		}
		e := y[i]
		for p, rp := range basis(i) {
			e -= rp * x[p]
		}
		out.chi2 += v * e * e
	}
	return out, true
}

// backwardReal solves Lᵀ·x = b in place.
func backwardReal(l []float64, n int, b []float64) {
	for i := n - 1; i >= 0; i-- {
		sum := b[i]
		for k := i + 1; k < n; k++ {
			sum -= l[k*n+i] * b[k]
		}
		b[i] = sum / l[i*n+i]
	}
}

// inverseEntry returns entry (i, i) of the inverse of L·Lᵀ, n ≤ 4.
func inverseEntry(l []float64, n, i int) float64 {
	var e [4]float64
	e[i] = 1
	forwardReal(l, n, e[:n])
	var sum float64
	for _, v := range e[:n] {
		sum += v * v
	}
	return sum
}
