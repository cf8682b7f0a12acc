package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// The unknowns of a cluster of n partials, in this order: real and imaginary part of each C, then
// each α, then each deviation in cents.

// amplitudes solves for the amplitudes alone if some partial of the cluster has none, and reports
// whether it did.
func (f *fit) amplitudes(c *cluster) bool {
	n, m := c.size(), len(f.t)
	missing := false
	for _, a := range f.active[c.from:c.to] {
		missing = missing || f.partials[a].c == 0
	}
	if !missing {
		return false
	}
	mat, vec := f.matrix[c.at:c.at+4*n*n], f.vector[4*c.from:4*c.from+2*n]
	for k := range n {
		ek := f.basis[k*m : (k+1)*m]
		var g complex128
		for j, e := range ek {
			g += complex(f.h[j], 0) * conj(e) * f.left[j]
		}
		vec[2*k], vec[2*k+1] = real(g), imag(g)
		for l := range k + 1 {
			var s complex128
			for j, e := range f.basis[l*m : (l+1)*m] {
				s += complex(f.h[j], 0) * conj(ek[j]) * e
			}
			put2(mat, 2*n, 2*k, 2*l, s)
		}
		// A slight ridge keeps coincident partials from growing against each other.
		mat[2*k*2*n+2*k] *= 1.001
		mat[(2*k+1)*2*n+2*k+1] *= 1.001
	}
	factor(mat, 2*n)
	solve(mat, 2*n, vec)
	for k, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		p.c += complex(vec[2*k], vec[2*k+1])
		if p.c == 0 {
			p.c = complex(1e-30, 0)
		}
	}
	return true
}

// put2 enters the inner product s of two complex columns, each of which stands for a real and an
// imaginary unknown.
func put2(mat []float64, size, row, col int, s complex128) {
	mat[row*size+col], mat[row*size+col+1] = real(s), -imag(s)
	mat[(row+1)*size+col], mat[(row+1)*size+col+1] = imag(s), real(s)
}

// noise sets the noise power of the cluster's points from what is left there, and from what is
// usual where little can be left.
func (f *fit) noise(c *cluster) {
	var sum, weight, weight2 float64
	for j, v := range f.left {
		sum += f.h[j] * norm(v)
		weight += f.h[j]
		weight2 += f.h[j] * f.h[j]
	}
	values := weight * weight / weight2 // worth so many equal ones
	free := math.Max(0.5, values-2*float64(c.size()))
	local := sum / weight * values / free
	if !c.measured {
		c.rho = local
		c.measured = true
	}
	c.rho = (free*local + 4*math.Max(f.white, 1e-16)) / (free + 4)
}

// taperCost is by how much the taper and the overlap of the points' low-pass raise the variance of
// a deviation over that of least squares with equal weights and independent noise: for h = sin²,
// ∫h²t²dt ÷ ∫ht²dt = 0.459 for the frequency of a partial alone, ∫h² ÷ ∫h = 0.75 for amplitudes,
// which decide where partials coincide; neighbouring points under the Hann low-pass correlate by
// 1/6, which is 1 + 2/6 at low frequencies.
func taperCost(size int) float64 {
	if size == 1 {
		return 0.459 * 4 / 3
	}
	return 0.75 * 4 / 3
}

// normal builds and factors the normal equations of the cluster, scaled to unit noise.
func (f *fit) normal(c *cluster) {
	n, m := c.size(), len(f.t)
	size := 4 * n
	mat, vec := f.matrix[c.at:c.at+size*size], f.vector[4*c.from:4*c.to]
	scale := 1 / (c.rho * taperCost(n))
	for k, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		ek := f.basis[k*m : (k+1)*m]
		g0, g1 := f.against(ek, scale)
		g1 *= conj(p.c)
		vec[2*k], vec[2*k+1] = real(g0), imag(g0)
		vec[2*n+k], vec[3*n+k] = -real(g1), p.turns()*imag(g1)
		for l := range k + 1 {
			f.couple(mat, c, k, l, f.products(ek, f.basis[l*m:(l+1)*m], scale))
		}
	}
	f.priors(c, mat, vec)
	factor(mat, size)
	forward(mat, size, vec)
}

// turns returns by how many radians a second the frequency changes with a cent.
func (p *partial) turns() float64 { return 2 * math.Pi * p.hz / stiffstring.CentsPerNeper }

// against returns Σ h·ē·left and Σ h·t·ē·left.
func (f *fit) against(e []complex128, scale float64) (g0, g1 complex128) {
	for j, v := range e {
		v = complex(f.h[j]*scale, 0) * conj(v) * f.left[j]
		g0 += v
		g1 += v * complex(f.t[j], 0)
	}
	return g0, g1
}

// products returns Σ h·t^p·ē·d for p = 0, 1, 2.
func (f *fit) products(e, d []complex128, scale float64) (s [3]complex128) {
	for j, v := range d {
		v = complex(f.h[j]*scale, 0) * conj(e[j]) * v
		t := complex(f.t[j], 0)
		s[0] += v
		v *= t
		s[1] += v
		s[2] += v * t
	}
	return s
}

// couple enters the products of the waves of partials k ≥ l of the cluster.
func (f *fit) couple(mat []float64, c *cluster, k, l int, s [3]complex128) {
	n := c.size()
	size := 4 * n
	pk, pl := &f.partials[f.active[c.from+k]], &f.partials[f.active[c.from+l]]
	put2(mat, size, 2*k, 2*l, s[0])
	f.putRate(mat, c, k, l, s[1]*conj(pk.c))
	if l != k {
		f.putRate(mat, c, l, k, conj(s[1])*conj(pl.c))
	}
	q := conj(pk.c) * pl.c * s[2]
	mat[(2*n+k)*size+2*n+l] = real(q)
	mat[(3*n+k)*size+3*n+l] = pk.turns() * pl.turns() * real(q)
	mat[(3*n+k)*size+2*n+l] = -pk.turns() * imag(q)
	mat[(3*n+l)*size+2*n+k] = pl.turns() * imag(q)
}

// putRate enters the product p of the rate of partial k with the amplitude of partial l.
func (f *fit) putRate(mat []float64, c *cluster, k, l int, p complex128) {
	n := c.size()
	size := 4 * n
	w := f.partials[f.active[c.from+k]].turns()
	mat[(2*n+k)*size+2*l], mat[(2*n+k)*size+2*l+1] = -real(p), imag(p)
	mat[(3*n+k)*size+2*l], mat[(3*n+k)*size+2*l+1] = w*imag(p), w*real(p)
}

// priors adds what is known of amplitudes and decays beforehand. The amplitudes of a cluster are
// about as large as what is observed there: partials that coincide must not grow against each other.
func (f *fit) priors(c *cluster, mat, vec []float64) {
	n := c.size()
	size := 4 * n
	ridge := 1 / (c.observed + c.rho)
	for k, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		for i, v := range [2]float64{real(p.c), imag(p.c)} {
			mat[(2*k+i)*(size+1)] += ridge
			vec[2*k+i] -= ridge * v
		}
		mat[(2*n+k)*(size+1)] += 1 / sq(decaySigma)
		vec[2*n+k] += (decayMean - p.alpha) / sq(decaySigma)
	}
}

// tail returns row k of the trailing block of the cluster's factor: P = L·Lᵀ of the deviations.
func (f *fit) tail(c *cluster, k int) []float64 {
	n := c.size()
	size := 4 * n
	return f.matrix[c.at+(3*n+k)*size+3*n:][:k+1]
}

// apply takes over the law's changes and what they mean for each partial.
func (f *fit) apply(voices []voice) {
	for i := range voices {
		v := &voices[i]
		if v.candidate {
			v.f1 *= math.Exp(v.df / stiffstring.CentsPerNeper)
			v.b += v.db
		}
	}
	for i := range f.clusters {
		c := &f.clusters[i]
		n := c.size()
		size := 4 * n
		mat, vec := f.matrix[c.at:c.at+size*size], f.vector[4*c.from:4*c.to]
		act := f.active[c.from:c.to]
		for k, a := range act {
			p := &f.partials[a]
			limit := 0.4 / f.seconds * stiffstring.CentsPerNeper / p.hz
			step := math.Max(-limit, math.Min(limit, f.law.dev[c.from+k]-p.off))
			for x, v := range mat[(3*n+k)*size : (3*n+k)*size+3*n] {
				vec[x] -= v * step
			}
			v := &voices[p.voice]
			p.off += step - (v.df + v.db*stiffstring.CentsByB(v.b, float64(p.k)))
			p.variance = f.law.variance[c.from+k]
			p.settled = true
		}
		backward(mat, size, 3*n, vec)
		for k, a := range act {
			p := &f.partials[a]
			p.c += complex(vec[2*k], vec[2*k+1])
			step := math.Max(-1/f.seconds, math.Min(1/f.seconds, vec[2*n+k]))
			p.alpha = math.Max(-2/f.seconds, math.Min(decayMost, p.alpha+step))
		}
	}
	f.place(voices)
}
