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

// briefPeriods is how many periods a window holds at most that is fitted so.
const briefPeriods = 2.6

// HiddenGlide is the standard uncertainty (cents) of the settled pitch of a plucked string in a window so
// short that a glide does not show: as likely as not there is one, and half of what is expected of its depth at
// the pluck is what the window's pitch holds of it.
const HiddenGlide = GlideSigma / 2 / math.Sqrt2

// A priorFit is the work space of such a fit.
type priorFit struct {
	matrix []float64       // normal equations, symmetric, the prior-bearing unknowns in units of their priors
	rhs    []float64       // right-hand side, then the solution
	unit   []float64       // standard deviation of the prior of each unknown; 1 for an amplitude
	by     [][4]complex128 // what one unit of each unknown of a partial adds to its basis and its rate's
	column []float64
}

// briefly reports whether a window of n sub-blocks of a note at f1 (Hz) is so short.
func (f *Fitter) briefly(n int, m Motion, f1 float64) bool {
	q := f.joined(n, m)
	return float64(n/q*q*f.Bank.M)/f.SampleRate*f1 < briefPeriods
}

// addGlideUncertainty lets σ admit the movement that such a window does not show.
func (f *Fitter) addGlideUncertainty(m Motion) {
	if m == Settles {
		f.Variance.Glide += HiddenGlide * HiddenGlide
	}
}

// stepWithPriors makes one Gauss-Newton step of the bound model and returns the change of f1 in cents.
func (j *joint) stepWithPriors() float64 {
	j.remains()
	if j.fresh() {
		j.equations()
		j.amplitudesWithPriors()
		j.stale = true
		j.remains()
	}
	j.noise(j.explained())
	j.stale = true
	return j.solveWithPriors(j.noiseAround())
}

// unknowns is about how many numbers a partial's unknowns take from those that a window holds of it, two a
// period: two for its amplitude, some of its decay and departure.
const unknowns = 2.5

// noiseAround returns the power of the noise in one block: that of the whole window, or that around the
// partials, from what the model leaves of it, if that is more.
func (j *joint) noiseAround() float64 {
	var sum float64
	na := len(j.active)
	for _, v := range j.left[:na*j.s.n] {
		sum += Power(v)
	}
	left := 1 - unknowns/(2*2*j.s.half*j.f1)
	return max(j.white/float64(j.s.length), sum/float64(na*j.s.n)/max(left, 0.35))
}

// solveWithPriors solves the normal equations with noise of power rho in a block, takes their solution over,
// and sets the uncertainties. It returns the change of f1 in cents.
func (j *joint) solveWithPriors(rho float64) float64 {
	na := len(j.active)
	w := &j.priorWork
	size := 4*na + 2
	j.equations()
	j.expect(rho)
	factorReal(w.matrix, size)
	forwardReal(w.matrix, size, w.rhs)
	backwardReal(w.matrix, size, w.rhs)
	for i, u := range w.unit {
		w.rhs[i] *= u
	}
	if math.IsNaN(w.rhs[4*na]) {
		return math.NaN()
	}
	dc := j.move(w.rhs)
	j.dev, j.devCov, j.extra = scratch.Grow(j.dev, na), scratch.Grow(j.devCov, na*na), scratch.Grow(j.extra, na)
	clear(j.devCov)
	clear(j.extra)
	for k, r := range j.active {
		v := rho * j.inverseElement(size, 3*na+k)
		j.dev[k], j.devCov[k*na+k] = j.off[r], v
		j.seen[r], j.offSigma[r] = found, 1.5*math.Sqrt(v)+0.03
	}
	all := j.inverseElement(size, 4*na)
	byB := w.column[size-1] * w.unit[4*na] // B is the last unknown: what it adds stands in its place
	j.sigma, j.knownB = math.Sqrt(rho*all), rho*(all-byB*byB)
	j.sigmaB = math.Sqrt(rho * j.inverseElement(size, 4*na+1))
	return dc
}

// move changes the model by the given unknowns, as far as one step may go, and returns by how much it
// changed f1 (cents).
func (j *joint) move(by []float64) float64 {
	na := len(j.active)
	dc := max(-40, min(40, by[4*na]))
	j.f1 *= math.Exp(dc / stiffstring.CentsPerNeper)
	j.b = max(-1e-4, min(0.05, j.b+by[4*na+1]))
	for k, r := range j.active {
		limit := stiffstring.CentsPerNeper * 0.3 / (j.length(r) * j.before[k])
		j.off[r] = j.followed(j.off[r]+max(-limit, min(limit, by[3*na+k])), j.number[k])
		limit = 0.7 / j.width[k]
		a := j.allowed(j.alpha[r] + max(-limit, min(limit, by[2*na+k])))
		// Amplitudes were found at the centroid, with the partial turning about it.
		from := j.alpha[r] * (j.centre[k] - j.loudest(r))
		j.c[r] += complex(by[2*k], by[2*k+1])
		j.alpha[r] = a
		j.c[r] *= complex(math.Exp(a*(j.centre[k]-j.loudest(r))-from), 0)
		j.c[r] *= cmplx.Rect(1, -2*math.Pi*(j.hz(k)-j.before[k])*j.centre[k])
	}
	return dc
}

// inverseElement returns the element (i, i) of the inverse of the factorised equations, in squares of the
// unknown's own unit.
func (j *joint) inverseElement(size, i int) float64 {
	w := &j.priorWork
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

// equations fills the normal equations without their priors: amplitudes as they are, decays in 1/s,
// departures and f1 in cents.
func (j *joint) equations() {
	na := len(j.active)
	size := 4*na + 2
	w := &j.priorWork
	w.matrix, w.rhs, w.unit, w.by = scratch.Grow(w.matrix, size*size), scratch.Grow(w.rhs, size), scratch.Grow(w.unit, size), scratch.Grow(w.by, na)
	j.slopeB = scratch.Grow(j.slopeB, na)
	for k, r := range j.active {
		j.slopeB[k] = stiffstring.PartialHzByB(j.f1, j.b, j.number[k]) / j.before[k] * stiffstring.CentsPerNeper
		rate := j.c[r] * complex(j.width[k], 0)
		w.by[k] = [4]complex128{1, 1i, -rate, rate * complex(0, 2*math.Pi*j.before[k]/stiffstring.CentsPerNeper)}
		for p, a := range w.by[k] {
			i := j.unknown(k, p)
			w.rhs[i] = real(conj(a) * j.rhs[p/2*na+k])
			w.unit[i] = 1
		}
	}
	for k := range na {
		for l := range k + 1 {
			j.couple(k, l, j.momentsOf(k, l))
		}
	}
	// What moves all partials together is the sum of their departures.
	common := [2][]float64{w.matrix[4*na*size : (4*na+1)*size], w.matrix[(4*na+1)*size:]}
	for m, row := range common {
		clear(row)
		for k := range na {
			by := 1.0
			if m == 1 {
				by = j.slopeB[k]
			}
			for i, v := range w.matrix[(3*na+k)*size : (3*na+k)*size+4*na] {
				row[i] += by * v
			}
		}
	}
	w.rhs[4*na], w.rhs[4*na+1] = 0, 0
	for k := range na {
		i := 3*na + k
		w.rhs[4*na] += w.rhs[i]
		w.rhs[4*na+1] += j.slopeB[k] * w.rhs[i]
		common[0][4*na] += common[0][i]
		common[1][4*na] += common[1][i]
		common[1][4*na+1] += j.slopeB[k] * common[1][i]
	}
}

// unknown returns the place of unknown p of active partial k: two parts of its amplitude, decay, departure.
func (j *joint) unknown(k, p int) int {
	if p < 2 {
		return 2*k + p
	}
	return p*len(j.active) + k
}

// expect adds what is expected of decays, departures and B, and puts these unknowns in units of it.
func (j *joint) expect(rho float64) {
	na := len(j.active)
	size := 4*na + 2
	w := &j.priorWork
	w.unit[4*na], w.unit[4*na+1] = 1, j.prior.Sigma
	for k, r := range j.active {
		w.unit[2*na+k], w.unit[3*na+k] = decaySigma, stiffstring.ScatterSigma(j.number[k])
		w.rhs[2*na+k] += rho * (decayMean - j.alpha[r]) / (decaySigma * decaySigma)
		w.rhs[3*na+k] -= rho * j.off[r] / (w.unit[3*na+k] * w.unit[3*na+k])
	}
	w.rhs[4*na+1] += rho * (j.prior.Mean - j.b) / (j.prior.Sigma * j.prior.Sigma)
	for i, u := range w.unit {
		w.rhs[i] *= u
		row := w.matrix[i*size : i*size+i+1]
		for c := range row {
			row[c] *= u * w.unit[c]
		}
		if i >= 2*na && i != 4*na {
			row[i] += rho
		}
	}
}

// amplitudesWithPriors takes over the solution for the amplitudes alone.
func (j *joint) amplitudesWithPriors() {
	na := len(j.active)
	size := 4*na + 2
	w := &j.priorWork
	lead := w.matrix[:4*na*na] // the leading block, moved together row by row
	for i := range 2 * na {
		copy(lead[i*2*na:i*2*na+i+1], w.matrix[i*size:i*size+i+1])
	}
	factorReal(lead, 2*na)
	forwardReal(lead, 2*na, w.rhs[:2*na])
	backwardReal(lead, 2*na, w.rhs[:2*na])
	for k, r := range j.active {
		j.c[r] += complex(w.rhs[2*k], w.rhs[2*k+1])
		if j.c[r] == 0 {
			j.c[r] = complex(1e-30, 0)
		}
	}
}

// moments holds the products of the bases of partials k and l and of their rates: [p][q] of
// τ_k^p·τ_l^q times the conjugate of k's basis with l's, and with the conjugate of l's.
type moments struct{ direct, mirrored [2][2]complex128 }

func (j *joint) momentsOf(k, l int) moments {
	n := j.s.n
	p := products(j.basis[k*n:(k+1)*n], j.basis[l*n:(l+1)*n], j.s.t)
	// Time counts from the centroid of each, in units of its width.
	var out moments
	ck, cl := complex(j.centre[k], 0), complex(j.centre[l], 0)
	hk, hl := complex(j.width[k], 0), complex(j.width[l], 0)
	for i, v := range [...][3]complex128{{p.s0, p.s1, p.s2}, {p.m0, p.m1, p.m2}} {
		to := &out.direct
		gain := 0.25 * complex(real(j.kernel[k*len(j.active)+l])+real(j.kernel[l*len(j.active)+k]), 0)
		if i == 1 {
			to = &out.mirrored
			gain = 0.25 * complex(real(j.mirror[k*len(j.active)+l])+real(j.mirror[l*len(j.active)+k]), 0)
		}
		to[0][0] = gain * v[0]
		to[1][0] = gain * (v[1] - ck*v[0]) / hk
		to[0][1] = gain * (v[1] - cl*v[0]) / hl
		to[1][1] = gain * (v[2] - (ck+cl)*v[1] + ck*cl*v[0]) / (hk * hl)
	}
	return out
}

// couple enters the products of partials k ≥ l into the matrix.
func (j *joint) couple(k, l int, m moments) {
	size := 4*len(j.active) + 2
	w := &j.priorWork
	for p, a := range w.by[k] {
		for q, b := range w.by[l] {
			v := conj(a) * (b*m.direct[p/2][q/2] + conj(b)*m.mirrored[p/2][q/2])
			row, col := j.unknown(k, p), j.unknown(l, q)
			w.matrix[row*size+col], w.matrix[col*size+row] = real(v), real(v)
		}
	}
}

// lawWithPriors makes the final step. That partials which scatter also move in common is taken for granted:
// the window is too short to see whether they do.
func (j *joint) lawWithPriors() bool {
	j.remains()
	j.signal = j.explained()
	if math.IsNaN(j.solveWithPriors(j.noiseAround())) {
		return false
	}
	j.variance = j.lawVariance(j.knownB, stiffstring.CommonScatter*stiffstring.ScatterWidth(MaxPartials))
	j.sigma = j.variance.SigmaCents()
	return true
}
