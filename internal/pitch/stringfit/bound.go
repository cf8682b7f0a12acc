package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// A window of one and a half to two and a half periods holds about as many numbers as free deviations
// have unknowns. What tells the pitch there is that the partials of a string keep to its law: f1 and B
// are unknowns of the fit itself, and the departure of each partial from the law and its decay are held
// by what is expected of them beforehand. The fit is the likeliest state given the samples and these
// priors, σ that of its Gaussian approximation.
//
// The unknowns are real: the change of each partial's amplitude (two), decay and departure, then f1 and
// B. A partial so few periods above 0 Hz also meets the negative frequencies of others, so these stand in
// the normal equations too.

// HiddenGlide is the standard uncertainty (cents) of the settled pitch of a plucked string in a window so
// short that a glide does not show: as likely as not there is one, and half of what is expected of its depth at
// the pluck is what the window's pitch holds of it.
const HiddenGlide = GlideSigma / 2 / math.Sqrt2

// boundEquations are the normal equations of such a fit.
type boundEquations struct {
	unknowns
	matrix []float64                // symmetric, the prior-bearing unknowns in units of their priors
	rhs    []float64                // right-hand side, then the solution
	unit   []float64                // standard deviation of the prior of each unknown; 1 for an amplitude
	by     [][perPartial]complex128 // what one unit of each unknown of a partial adds to its basis and its rate's
	column []float64
}

// unknowns says where the unknowns of so many partials stand.
type unknowns struct{ partials int }

// Unknowns of a partial: two parts of its amplitude, decay, departure.
const (
	ofRe = iota
	ofIm
	ofDecay
	ofDeparture
	perPartial
)

func (u unknowns) amplitude(k int) int { return 2 * k }
func (u unknowns) decay(k int) int     { return ofDecay*u.partials + k }
func (u unknowns) departure(k int) int { return ofDeparture*u.partials + k }
func (u unknowns) pitch() int          { return perPartial * u.partials }
func (u unknowns) stiffness() int      { return perPartial*u.partials + 1 }
func (u unknowns) size() int           { return perPartial*u.partials + 2 }

// of returns the place of unknown p of partial k.
func (u unknowns) of(k, p int) int {
	if p < ofDecay {
		return u.amplitude(k) + p
	}
	return p*u.partials + k
}

// stepBound makes one Gauss-Newton step of the bound model and returns the change of f1 in cents.
func (j *joint) stepBound() float64 {
	m, b, q := &j.model, &j.basis, &j.equations
	q.remains(m, b, &j.rest, j.white)
	if m.fresh(b.part) {
		j.bound.fill(m, b, q)
		j.bound.startAmplitudes(m, b)
		j.rest.stale = true
		q.remains(m, b, &j.rest, j.white)
	}
	j.setNoise(q.explained(m, b))
	j.rest.stale = true
	return j.solveBound()
}

// finalBound makes the final step. That partials which scatter also move in common is taken for granted:
// the window is too short to see whether they do.
func (j *joint) finalBound() bool {
	m, b, q := &j.model, &j.basis, &j.equations
	q.remains(m, b, &j.rest, j.white)
	j.signal = q.explained(m, b)
	if math.IsNaN(j.solveBound()) {
		return false
	}
	j.decide(stiffstring.CommonScatter * stiffstring.UpperScatterWidth)
	return true
}

// What a partial takes from the numbers that a window holds of it, two a period, and what part of them is left at least.
const (
	takenByPartial = 2.5 // two for its amplitude, some of its decay and departure
	leastLeft      = 0.35
)

// noiseAround returns the power of the noise in one block: that of the whole window, or that around the
// partials, from what the model leaves of it, if that is more.
func (j *joint) noiseAround() float64 {
	s := j.basis.window
	var sum float64
	na := len(j.basis.part)
	for _, v := range j.rest.left[:na*s.n] {
		sum += Power(v)
	}
	left := 1 - takenByPartial/(2*j.model.bins())
	return max(j.white/float64(s.length), sum/float64(na*s.n)/max(left, leastLeft))
}

// solveBound solves the normal equations, takes their solution over, and sets the uncertainties. It returns the
// change of f1 in cents.
func (j *joint) solveBound() float64 {
	m, b, w := &j.model, &j.basis, &j.bound
	rho := j.noiseAround()
	w.fill(m, b, &j.equations)
	w.expect(m, b, rho)
	w.solve()
	if math.IsNaN(w.rhs[w.pitch()]) {
		return math.NaN()
	}
	dc := w.move(m, b, w.rhs)
	j.law.takeBound(m, b, w, rho)
	all := w.inverseElement(w.pitch())
	byB := w.column[w.stiffness()] * w.unit[w.pitch()] // B is the last unknown: what it adds stands in its place
	m.sigma, j.law.known = math.Sqrt(rho*all), rho*(all-byB*byB)
	m.sigmaB = math.Sqrt(rho * w.inverseElement(w.stiffness()))
	return dc
}

// takeBound takes the departures of the partials with their variances from a bound fit with noise of power rho in a
// block.
func (l *lawFit) takeBound(m *model, b *basis, w *boundEquations, rho float64) {
	na := len(b.part)
	l.part = b.part
	l.dev, l.cov, l.extra = scratch.Grow(l.dev, na), scratch.Grow(l.cov, na*na), scratch.Grow(l.extra, na)
	clear(l.cov)
	clear(l.extra)
	for k := range b.part {
		p := &m.row[b.part[k].row]
		v := rho * w.inverseElement(w.departure(k))
		l.dev[k], l.cov[k*na+k] = p.off, v
		p.seen, p.offSigma = found, carriedSigma(math.Sqrt(v))
	}
}

// move changes the model by the given unknowns, as far as one step may go, and returns by how much it changed f1
// (cents).
func (w *boundEquations) move(m *model, b *basis, by []float64) float64 {
	dc := m.stepF1(by[w.pitch()])
	m.b = allowedB(m.b + by[w.stiffness()])
	for k := range b.part {
		p := &b.part[k]
		r := &m.row[p.row]
		r.off = m.followed(r.off+m.stepOff(p.row, p.hz, by[w.departure(k)]), p.number)
		// Amplitudes were found at the centroid, with the partial turning about it.
		i := w.amplitude(k)
		m.grow(p, complex(by[i], by[i+1]), m.allowed(m.stepDecay(p, by[w.decay(k)])))
		r.c *= cmplx.Rect(1, -2*math.Pi*(m.hz(p.row, p.number)-p.hz)*p.centre)
	}
	return dc
}

// solve replaces rhs by the solution, in the units of the model.
func (w *boundEquations) solve() {
	size := w.size()
	factorReal(w.matrix, size)
	forwardReal(w.matrix, size, w.rhs)
	backwardReal(w.matrix, size, w.rhs)
	for i, u := range w.unit {
		w.rhs[i] *= u
	}
}

// inverseElement returns the element (i, i) of the inverse of the factorised equations, in squares of the
// unknown's own unit.
func (w *boundEquations) inverseElement(i int) float64 {
	size := w.size()
	w.column = scratch.Grow(w.column, size)
	tail := w.column[i:]
	clear(tail)
	tail[0] = 1
	var sum float64
	for r := i; r < size; r++ {
		v := w.column[r]
		for c := i; c < r; c++ {
			v -= w.matrix[r*size+c] * w.column[c]
		}
		v /= w.matrix[r*size+r]
		w.column[r] = v
		sum += v * v
	}
	return sum * w.unit[i] * w.unit[i]
}

// fill fills the normal equations without their priors: amplitudes as they are, decays in 1/s,
// departures and f1 in cents. The products of basis and remainder stand in q.
func (w *boundEquations) fill(m *model, b *basis, q *equations) {
	na := len(b.part)
	w.partials = na
	size := w.size()
	w.matrix, w.rhs = scratch.Grow(w.matrix, size*size), scratch.Grow(w.rhs, size)
	w.unit, w.by = scratch.Grow(w.unit, size), scratch.Grow(w.by, na)
	for k := range b.part {
		p := &b.part[k]
		rate := m.row[p.row].c * complex(p.width, 0)
		w.by[k] = [perPartial]complex128{1, 1i, -rate, rate * complex(0, 2*math.Pi*p.hz/stiffstring.CentsPerNeper)}
		for u, a := range w.by[k] {
			i := w.of(k, u)
			w.rhs[i] = real(conj(a) * q.rhs[u/2*na+k])
			w.unit[i] = 1
		}
	}
	for k := range na {
		for l := range k + 1 {
			w.couple(k, l, b.moments(k, l))
		}
	}
	w.fillCommon(b)
}

// fillCommon fills the last two rows, of f1 and B: what moves all partials together is the sum of their departures.
func (w *boundEquations) fillCommon(b *basis) {
	size, partials := w.size(), w.pitch()
	pitch, stiffness := w.matrix[partials*size:(partials+1)*size], w.matrix[(partials+1)*size:]
	clear(pitch)
	clear(stiffness)
	w.rhs[w.pitch()], w.rhs[w.stiffness()] = 0, 0
	for k := range b.part {
		i, slope := w.departure(k), b.part[k].slopeB
		for c, v := range w.matrix[i*size : i*size+partials] {
			pitch[c] += v
			stiffness[c] += slope * v
		}
		w.rhs[w.pitch()] += w.rhs[i]
		w.rhs[w.stiffness()] += slope * w.rhs[i]
	}
	for k := range b.part {
		i, slope := w.departure(k), b.part[k].slopeB
		pitch[w.pitch()] += pitch[i]
		stiffness[w.pitch()] += stiffness[i]
		stiffness[w.stiffness()] += slope * stiffness[i]
	}
}

// expect adds what is expected of decays, departures and B, and puts these unknowns in units of it; rho is the power
// of the noise in a block.
func (w *boundEquations) expect(m *model, b *basis, rho float64) {
	size := w.size()
	w.unit[w.pitch()], w.unit[w.stiffness()] = 1, m.prior.Sigma
	for k := range b.part {
		p := &m.row[b.part[k].row]
		scatter := stiffstring.ScatterSigma(b.part[k].number)
		w.unit[w.decay(k)], w.unit[w.departure(k)] = decaySigma, scatter
		w.rhs[w.decay(k)] += rho * (decayMean - p.alpha) / (decaySigma * decaySigma)
		w.rhs[w.departure(k)] -= rho * p.off / (scatter * scatter)
	}
	w.rhs[w.stiffness()] += rho * (m.prior.Mean - m.b) / (m.prior.Sigma * m.prior.Sigma)
	for i, u := range w.unit {
		w.rhs[i] *= u
		row := w.matrix[i*size : i*size+i+1]
		for c := range row {
			row[c] *= u * w.unit[c]
		}
		if i >= w.decay(0) && i != w.pitch() {
			row[i] += rho
		}
	}
}

// startAmplitudes takes over the solution for the amplitudes alone.
func (w *boundEquations) startAmplitudes(m *model, b *basis) {
	size, n := w.size(), w.decay(0)
	lead := w.matrix[:n*n] // the leading block, moved together row by row
	for i := range n {
		copy(lead[i*n:i*n+i+1], w.matrix[i*size:i*size+i+1])
	}
	factorReal(lead, n)
	forwardReal(lead, n, w.rhs[:n])
	backwardReal(lead, n, w.rhs[:n])
	for k := range b.part {
		i := w.amplitude(k)
		m.start(&b.part[k], complex(w.rhs[i], w.rhs[i+1]))
	}
}

// moments holds the products of the bases of partials k and l and of their rates: [p][q] of
// τ_k^p·τ_l^q times the conjugate of k's basis with l's, and with the conjugate of l's.
type moments struct{ direct, mirrored [2][2]complex128 }

func (b *basis) moments(k, l int) moments {
	p, i, t := b.products(k, l), k*len(b.part)+l, l*len(b.part)+k
	return moments{
		direct:   b.aboutCentroids(k, l, real(b.kernel[i])+real(b.kernel[t]), p.s0, p.s1, p.s2),
		mirrored: b.aboutCentroids(k, l, real(b.mirror[i])+real(b.mirror[t]), p.m0, p.m1, p.m2),
	}
}

// aboutCentroids returns the moments v0, v1, v2 of two bases with time counted from the centroid of each, in units of
// its width; response is that of the blocks of either to the other, summed.
func (b *basis) aboutCentroids(k, l int, response float64, v0, v1, v2 complex128) (to [2][2]complex128) {
	pk, pl := &b.part[k], &b.part[l]
	ck, cl := complex(pk.centre, 0), complex(pl.centre, 0)
	hk, hl := complex(pk.width, 0), complex(pl.width, 0)
	gain := complex(response/2/2, 0) // both halves of a real amplitude
	to[0][0] = gain * v0
	to[1][0] = gain * (v1 - ck*v0) / hk
	to[0][1] = gain * (v1 - cl*v0) / hl
	to[1][1] = gain * (v2 - (ck+cl)*v1 + ck*cl*v0) / (hk * hl)
	return to
}

// couple enters the products of partials k ≥ l into the matrix.
func (w *boundEquations) couple(k, l int, m moments) {
	size := w.size()
	for p, a := range w.by[k] {
		for q, b := range w.by[l] {
			v := conj(a) * (b*m.direct[p/2][q/2] + conj(b)*m.mirrored[p/2][q/2])
			row, col := w.of(k, p), w.of(l, q)
			w.matrix[row*size+col], w.matrix[col*size+row] = real(v), real(v)
		}
	}
}
