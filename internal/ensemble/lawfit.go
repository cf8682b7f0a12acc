package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A law is the fit of f1 and B of all strings to the deviations of their partials.
type law struct {
	unknowns []int     // by voice: place of its f1 among the unknowns; B follows; -1: no candidate
	size     int       // of the unknowns
	matrix   []float64 // information, then its factor
	vector   []float64
	inverse  []float64 // covariance of the unknowns
	dev      []float64 // [cents] by active partial: deviation, law and own scatter together
	variance []float64 // [cents²] of own scatter and law together
	work     []float64
	p, m     []float64 // of one cluster
	x        []float64
}

// begin sets what is unknown.
func (l *law) begin(voices []voice) {
	l.unknowns = grow(l.unknowns, len(voices))
	l.size = 0
	for i := range voices {
		l.unknowns[i] = -1
		if voices[i].candidate {
			l.unknowns[i] = l.size
			l.size += 2
		}
	}
	l.matrix, l.inverse = grow(l.matrix, l.size*l.size), grow(l.inverse, l.size*l.size)
	l.vector, l.x = grow(l.vector, l.size), grow(l.x, l.size)
}

// solve sets the changes of every candidate's f1 and B with their uncertainties, and the
// deviations that follow for the partials.
func (l *law) solve(f *fit, voices []voice) bool {
	clear(l.matrix)
	clear(l.vector)
	l.dev, l.variance = grow(l.dev, len(f.active)), grow(l.variance, len(f.active))
	for i := range f.clusters {
		l.gather(f, &f.clusters[i], voices)
	}
	l.priors(voices)
	l.invert()
	for i := range voices {
		if u := l.unknowns[i]; u >= 0 && !l.take(&voices[i], u) {
			return false
		}
	}
	for i := range f.clusters {
		l.deviations(f, &f.clusters[i], voices)
	}
	return true
}

// priors adds what is known of f1 and B beforehand.
func (l *law) priors(voices []voice) {
	for i := range voices {
		v := &voices[i]
		if u := l.unknowns[i]; u >= 0 {
			l.matrix[u*(l.size+1)] += 1 / sq(v.startSigma)
			l.vector[u] += stiffstring.CentsPerNeper * math.Log(v.start/v.f1) / sq(v.startSigma)
			l.matrix[(u+1)*(l.size+1)] += 1/sq(v.sigmaOfB) + 1/sq(v.startSigmaB)
			l.vector[u+1] += (v.meanOfB-v.b)/sq(v.sigmaOfB) + (v.startB-v.b)/sq(v.startSigmaB)
		}
	}
}

// take sets the step of a voice whose f1 is unknown u and reports whether it is a number.
func (l *law) take(v *voice, u int) bool {
	v.df, v.db = l.x[u], l.x[u+1]
	if least := -v.b; v.db < least { // no string is less stiff than a flexible one
		v.df += l.inverse[u*l.size+u+1] / l.inverse[(u+1)*(l.size+1)] * (least - v.db)
		v.db = least
	}
	v.df = math.Max(-30, math.Min(30, v.df))
	v.sigma = math.Sqrt(l.inverse[u*(l.size+1)])
	v.sigmaB = math.Sqrt(l.inverse[(u+1)*(l.size+1)])
	v.sigmaFB = l.inverse[(u+1)*l.size+u]
	return !math.IsNaN(v.df) && !math.IsNaN(v.sigma)
}

// still reports whether the last step changed nothing that matters.
func (l *law) still(voices []voice) bool {
	for i := range voices {
		v := &voices[i]
		if v.candidate && math.Abs(v.df) > 0.05*v.sigma+1e-4 {
			return false
		}
	}
	return true
}

// load sets p to P of the cluster, m to the factor of P + T⁻¹, and b to P·d.
func (l *law) load(f *fit, c *cluster) (p, m, b []float64) {
	n := c.size()
	l.p, l.m = grow(l.p, n*n), grow(l.m, n*n)
	l.work = grow(l.work, 4*n)
	b = l.work[:n]
	y := f.vector[4*c.from+3*n : 4*c.to]
	for k := range n {
		rk := f.tail(c, k)
		b[k] = 0
		for i := range k + 1 {
			var sum float64
			for x, v := range f.tail(c, i) {
				sum += v * rk[x]
			}
			l.p[k*n+i], l.p[i*n+k] = sum, sum
		}
		for x, v := range rk {
			b[k] += v * y[x]
		}
	}
	copy(l.m, l.p)
	for k, a := range f.active[c.from:c.to] {
		l.m[k*(n+1)] += 1 / f.partials[a].extra
		for i, ai := range f.active[c.from:c.to] {
			b[k] += l.p[k*n+i] * f.partials[ai].off
		}
	}
	factor(l.m, n)
	return l.p, l.m, b
}

// gather adds what a cluster tells of the law.
func (l *law) gather(f *fit, c *cluster, voices []voice) {
	n := c.size()
	p, m, b := l.load(f, c)
	act := f.active[c.from:c.to]
	// Weighted deviations: b − P·(P+T⁻¹)⁻¹·b.
	w, col := l.work[n:2*n], l.work[2*n:3*n]
	copy(w, b)
	solve(m, n, w)
	for k, a := range act {
		uk, sk := l.place(&f.partials[a], voices)
		y := b[k] - dot(p[k*n:(k+1)*n], w)
		l.vector[uk] += y
		l.vector[uk+1] += sk * y
		copy(col, p[k*n:(k+1)*n])
		solve(m, n, col)
		for i, ai := range act {
			ui, si := l.place(&f.partials[ai], voices)
			v := p[i*n+k] - dot(p[i*n:(i+1)*n], col)
			l.matrix[ui*l.size+uk] += v
			l.matrix[ui*l.size+uk+1] += v * sk
			l.matrix[(ui+1)*l.size+uk] += si * v
			l.matrix[(ui+1)*l.size+uk+1] += si * v * sk
		}
	}
}

// place returns where f1 of a partial's string stands among the unknowns, and by how many cents the
// partial rises for each unit of B.
func (l *law) place(p *partial, voices []voice) (unknown int, slope float64) {
	return l.unknowns[p.voice], stiffstring.CentsByB(voices[p.voice].b, float64(p.k))
}

func dot(a, b []float64) float64 {
	var sum float64
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// invert solves for the unknowns and their covariance.
func (l *law) invert() {
	n := l.size
	// f1 in cents and B differ by orders of magnitude: scale to a unit diagonal.
	l.work = grow(l.work, 4*n)
	d := l.work[:n]
	for i := range n {
		d[i] = 1 / math.Sqrt(l.matrix[i*(n+1)])
	}
	for i := range n {
		for j := range n {
			l.matrix[i*n+j] *= d[i] * d[j]
		}
	}
	factor(l.matrix, n)
	for i := range n {
		col := l.inverse[i*n : (i+1)*n]
		clear(col)
		col[i] = 1
		solve(l.matrix, n, col)
		l.x[i] = l.vector[i] * d[i]
	}
	solve(l.matrix, n, l.x)
	for i := range n {
		l.x[i] *= d[i]
		for j := range n {
			l.inverse[i*n+j] *= d[i] * d[j]
		}
	}
}

// deviations sets where each partial of a cluster lies, law and data taken together.
func (l *law) deviations(f *fit, c *cluster, voices []voice) {
	n := c.size()
	_, m, b := l.load(f, c)
	act := f.active[c.from:c.to]
	d, unitVector := l.dev[c.from:c.to], l.work[2*n:3*n]
	for k, a := range act {
		p := &f.partials[a]
		v := &voices[p.voice]
		d[k] = b[k] + (v.df+v.db*stiffstring.CentsByB(v.b, float64(p.k)))/p.extra
	}
	solve(m, n, d)
	for k := range act {
		clear(unitVector)
		unitVector[k] = 1
		solve(m, n, unitVector)
		l.variance[c.from+k] = unitVector[k]
	}
}
