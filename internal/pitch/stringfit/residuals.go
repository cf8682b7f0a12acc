package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/scratch"
	"tunerd/internal/stiffstring"
)

// phaseResiduals holds by how much time the phases of each partial lead those of the fitted model, warp of
// time included, block by block: all that a fit leaves to say about how the pitch of the whole note
// moved. Each partial has its own phase and its own deviation from the law, and is heard with its own
// weight at each time; movements of the note are common to all.
type phaseResiduals struct {
	n        int
	time     []float64 // [s] middle of each block, from the middle of the window
	residual []float64 // [s] partials × n
	weight   []float64 // [1/s²] partials × n, inverse variance
	part     []partialSums
	prior    stiffstring.Prior
	b        float64
}

// partialSums is what is known of one partial, and its sums that no movement enters.
type partialSums struct {
	centsOffLaw float64 // [cents] the frequency that its phase residuals are counted from, against the law
	slopeB      float64 // [cents] d(cents)/dB
	scatterVar  float64 // [cents²] variance of its scatter about the law

	w, wt, wtt, wy, wty, wyy float64 // Σ weight·(1, t, t², lead, t·lead, lead²)
}

// weakBlock is the energy of a partial in a block, in units of the noise there, above which the phase
// of the block stands for itself; a weaker one counts to first order.
const weakBlock = 4

// strayBlock is the part of a partial's energy in a block that is in step with the model, below which the block says
// nothing: something else sounds there.
const strayBlock = 0.3

// take fills l from the final fit of j, whose law must have run, under the warp of its series, and all with by how much
// the partials that stand out of the noise in a block lead the model together there.
func (l *phaseResiduals) take(j *joint, all *track) {
	m, s := &j.model, j.basis.window
	n, na := s.n, len(j.basis.part)
	clear(all.shift)
	clear(all.weight)
	l.n, l.time, l.prior, l.b = n, s.t, m.prior, m.b
	l.residual, l.weight, l.part = scratch.Grow(l.residual, na*n), scratch.Grow(l.weight, na*n), scratch.Grow(l.part, na)
	for k := range j.basis.part {
		l.part[k] = l.takePartial(j, k, all)
	}
	for i, v := range all.weight {
		if v > 0 {
			all.shift[i] /= v
		}
	}
}

// takePartial takes the residuals of partial k, and adds what it says to all.
func (l *phaseResiduals) takePartial(j *joint, k int, all *track) partialSums {
	m, s, n := &j.model, j.basis.window, l.n
	from := &j.basis.part[k]
	w := 2 * math.Pi * from.hz
	gain := 0.5 * j.basis.kernel[k*len(j.basis.part)+k] * m.row[from.row].c
	lead, own := l.residual[k*n:(k+1)*n], l.weight[k*n:(k+1)*n]
	p := partialSums{
		centsOffLaw: stiffstring.CentsPerNeper * math.Log(from.hz/stiffstring.PartialHz(m.f1, m.b, from.number)),
		slopeB:      from.slopeB, scatterVar: j.law.extra[k],
	}
	for i, e := range j.basis.at(k) {
		model, left := gain*e, j.rest.left[k*n+i]
		energy := Power(model)
		// Phase of (model+left)/model.
		re := energy + real(left)*real(model) + imag(left)*imag(model)
		im := imag(left)*real(model) - real(left)*imag(model)
		v, y := 2*w*w*energy/from.rho, im/(energy*w)
		if energy > weakBlock*from.rho {
			if re < strayBlock*energy {
				v = 0
			} else {
				y = math.Atan2(im, re) / w
				all.shift[i] += v * y
				all.weight[i] += v
			}
		}
		y += s.psi[i]
		if v == 0 {
			y = 0
		}
		lead[i], own[i] = y, v
		p.add(l.time[i], y, v)
	}
	return p
}

// add adds a lead of y at time t, with weight v.
func (p *partialSums) add(t, y, v float64) {
	p.w += v
	p.wt += v * t
	p.wtt += v * t * t
	p.wy += v * y
	p.wty += v * t * y
	p.wyy += v * y * y
}

// A movement is the weighted least-squares fit of a common movement Σ d_m·g_m(t) to phase residuals, each partial
// free in its phase, and in its frequency about the law as far as it scatters.
type movement struct {
	off      float64    // [cents] f1 against that of the law
	offB     float64    // B against that of the law
	extra    [2]float64 // d
	offVar   float64    // of off
	extraVar [2]float64
	chi2     float64 // weighted sum of squared residuals, priors included
	logDet   float64 // of the information matrix
}

// An expectation is what is expected of a number before it is measured: normal, with this mean and inverse
// variance.
type expectation struct{ mean, weight float64 }

// movementEquations are the normal equations of f1, B and so many movements, common to all partials.
type movementEquations struct {
	size int // 2 and the movements
	info [16]float64
	rhs  [4]float64
	chi2 float64 // weighted square of what they are to explain
}

// fitMovement fits the movements g (at most two, by block), with what is expected of each.
func (l *phaseResiduals) fitMovement(g [][]float64, prior []expectation) (movement, bool) {
	q := movementEquations{size: 2 + len(g)}
	for k := range l.part {
		if p := &l.part[k]; p.w > 0 {
			own := l.ownEquations(k, g)
			own.freeOffLaw(p)
			q.add(&own, p)
		}
	}
	q.expect(1, expectation{l.prior.Mean - l.b, 1 / (l.prior.Sigma * l.prior.Sigma)})
	for m := range g {
		q.expect(2+m, prior[m])
	}
	return q.solve()
}

// partialEquations are the normal equations of one partial: of the frequency that it has against the one its residuals
// are counted from (in cents: its lead grows by t/stiffstring.CentsPerNeper for one), and of the movements. Its phase is
// taken out by counting from weighted means.
type partialEquations struct {
	size   int // 1 and the movements
	gram   [3][3]float64
	rhs    [3]float64
	square float64 // weighted, of what they are to explain
}

// ownEquations returns those of partial k.
func (l *phaseResiduals) ownEquations(k int, g [][]float64) partialEquations {
	const perCent = 1 / stiffstring.CentsPerNeper
	p := &l.part[k]
	q := partialEquations{size: 1 + len(g)}
	q.gram[0][0] = (p.wtt - p.wt*p.wt/p.w) * perCent * perCent
	q.rhs[0] = (p.wty - p.wt*p.wy/p.w) * perCent
	q.square = p.wyy - p.wy*p.wy/p.w
	weight, lead := l.weight[k*l.n:(k+1)*l.n], l.residual[k*l.n:(k+1)*l.n]
	var sums [2]float64
	for m, f := range g {
		f = f[:len(weight)]
		var w, wt, wy, wff float64
		time, lead := l.time[:len(weight)], lead[:len(weight)]
		for i, v := range weight {
			x := v * f[i]
			w += x
			wt += x * time[i]
			wy += x * lead[i]
			wff += x * f[i]
		}
		sums[m] = w
		q.gram[0][1+m] = (wt - w*p.wt/p.w) * perCent
		q.gram[1+m][1+m] = wff - w*w/p.w
		if m == 1 {
			var both float64
			for i, v := range weight {
				both += v * f[i] * g[0][i]
			}
			q.gram[1][2] = both - sums[0]*w/p.w
		}
		q.rhs[1+m] = wy - w*p.wy/p.w
	}
	q.gram[1][0], q.gram[2][0], q.gram[2][1] = q.gram[0][1], q.gram[0][2], q.gram[1][2]
	return q
}

// freeOffLaw takes out how far the partial scatters about the law, and counts its frequency from the law.
func (q *partialEquations) freeOffLaw(p *partialSums) {
	c := p.scatterVar / (1 + p.scatterVar*q.gram[0][0])
	g0, t0 := q.gram[0], q.rhs[0]
	for a := range q.size {
		q.rhs[a] -= c * g0[a] * t0
		for b := range q.size {
			q.gram[a][b] -= c * g0[a] * g0[b]
		}
	}
	q.square -= c * t0 * t0
	// Its deviation is off + slopeB·offB − centsOffLaw.
	q.square += (2*q.rhs[0] + q.gram[0][0]*p.centsOffLaw) * p.centsOffLaw
	for a := range q.size {
		q.rhs[a] += q.gram[a][0] * p.centsOffLaw
	}
}

// add adds what a partial says of f1, B and the movements.
func (q *movementEquations) add(own *partialEquations, p *partialSums) {
	size := q.size
	q.chi2 += own.square
	q.rhs[0] += own.rhs[0]
	q.rhs[1] += own.rhs[0] * p.slopeB
	q.info[0] += own.gram[0][0]
	q.info[size] += own.gram[0][0] * p.slopeB
	q.info[size+1] += own.gram[0][0] * p.slopeB * p.slopeB
	for m := range own.size - 1 {
		row := (2 + m) * size
		q.rhs[2+m] += own.rhs[1+m]
		q.info[row] += own.gram[1+m][0]
		q.info[row+1] += own.gram[1+m][0] * p.slopeB
		for r := range m + 1 {
			q.info[row+2+r] += own.gram[1+m][1+r]
		}
	}
}

// expect adds what is expected of unknown i.
func (q *movementEquations) expect(i int, e expectation) {
	q.info[i*q.size+i] += e.weight
	q.rhs[i] += e.weight * e.mean
	q.chi2 += e.weight * e.mean * e.mean
}

// solve returns the movement that the equations tell; they are used up.
func (q *movementEquations) solve() (movement, bool) {
	size, out := q.size, movement{chi2: q.chi2}
	if !(q.info[0] > 0) || math.IsInf(q.info[0], 0) {
		return out, false
	}
	a, x := q.info[:size*size], q.rhs[:size]
	factorReal(a, size)
	for p := range size {
		out.logDet += 2 * math.Log(a[p*size+p])
	}
	forwardReal(a, size, x)
	for _, v := range x {
		out.chi2 -= v * v
	}
	backwardReal(a, size, x)
	out.off, out.offB = x[0], x[1]
	out.offVar = inverseEntry(a, size, 0)
	for m := range size - 2 {
		out.extra[m], out.extraVar[m] = x[2+m], inverseEntry(a, size, 2+m)
	}
	return out, true
}

// misfit fills rest with what all partials together still lead by when the movement depth·g
// is taken out and each partial has its own phase and frequency.
// It returns the mean square of that in units of what noise makes of it; terms says how many numbers
// the movement was fitted with.
func (l *phaseResiduals) misfit(depth float64, g []float64, rest *track, terms int) float64 {
	clear(rest.shift)
	clear(rest.weight)
	for k := range l.part {
		p := &l.part[k]
		det := p.w*p.wtt - p.wt*p.wt
		if !(det > 0) {
			continue
		}
		lead, ws := l.residual[k*l.n:(k+1)*l.n], l.weight[k*l.n:(k+1)*l.n]
		wy, wty := p.wy, p.wty
		for i, v := range ws {
			wy -= v * depth * g[i]
			wty -= v * depth * g[i] * l.time[i]
		}
		phase, slope := (p.wtt*wy-p.wt*wty)/det, (p.w*wty-p.wt*wy)/det
		for i, v := range ws {
			rest.shift[i] += v * (lead[i] - phase - slope*l.time[i] - depth*g[i])
			rest.weight[i] += v
		}
	}
	var chi2, free float64
	for i, v := range rest.weight {
		if v > 0 {
			chi2 += rest.shift[i] * rest.shift[i] / v
			rest.shift[i] /= v
			free++
		}
	}
	return chi2 / max(1, free-2-float64(terms))
}

// apply moves the model of j, from whose final fit l was taken, to what the residuals say under another warp:
// f1 and B by off (cents) and offB, and each partial to its own phase and, as far as its data say against
// the scatter expected of it, its own frequency. psi is the warp's time by block, in seconds.
func (l *phaseResiduals) apply(j *joint, off, offB float64, psi []float64) {
	m := &j.model
	m.f1 *= math.Exp(off / stiffstring.CentsPerNeper)
	m.b += offB
	for k := range j.basis.part {
		from, p := &j.basis.part[k], &l.part[k]
		det := p.w*p.wtt - p.wt*p.wt
		if !(det > 0) {
			continue
		}
		wy, wty := p.wy, p.wty
		for i, v := range l.weight[k*l.n : (k+1)*l.n] {
			wy -= v * psi[i]
			wty -= v * psi[i] * l.time[i]
		}
		n := from.number
		law := off + offB*p.slopeB - p.centsOffLaw // [cents] against rest
		own := (p.w*wty - p.wt*wy) / det * stiffstring.CentsPerNeper
		known, loose := det/p.w/(stiffstring.CentsPerNeper*stiffstring.CentsPerNeper), 1/square(stiffstring.ScatterSigma(n))
		by := (own*known + law*loose) / (known + loose)
		phase := (wy - by/stiffstring.CentsPerNeper*p.wt) / p.w
		l.rescale(j, k, phase, by/stiffstring.CentsPerNeper, psi)
		hz := from.hz * math.Exp(by/stiffstring.CentsPerNeper)
		m.row[from.row].off = within(stiffstring.CentsPerNeper*math.Log(hz/stiffstring.PartialHz(m.f1, m.b, n)), FurthestOff)
	}
}

// Where a division needs them: the variance in time (s²) of a partial's energy, and the part of its amplitude that is in
// step with the model.
const (
	leastSpread = 1e-9
	leastInStep = 0.1
)

// rescale gives partial k of j the amplitude and decay that it has when it leads by phase + slope·t + psi.
func (l *phaseResiduals) rescale(j *joint, k int, phase, slope float64, psi []float64) {
	m, s := &j.model, j.basis.window
	n, na := l.n, len(j.basis.part)
	from := &j.basis.part[k]
	row := &m.row[from.row]
	w := 2 * math.Pi * from.hz
	gain := 0.5 * j.basis.kernel[k*na+k] * row.c
	var p, pt, ptt, re, im, ret float64
	for i, e := range j.basis.at(k) {
		own := gain * e
		t := l.time[i]
		u := own * unit(w*(phase+slope*t+psi[i]-s.psi[i]))
		v := conj(u) * (own + j.rest.left[k*n+i])
		energy := Power(own)
		p += energy
		pt += energy * t
		ptt += energy * t * t
		re += real(v)
		im += imag(v)
		ret += real(v) * t
	}
	centre := pt / p
	spread := ptt/p - centre*centre
	by := complex(re/p, im/p)
	fade := (ret/p - re/p*centre) / max(spread, leastSpread) / max(re/p, leastInStep) // 1/s, of the logarithm of the amplitude
	v := 1 / (p / from.rho * spread * 2)
	fade *= decaySigma * decaySigma / (decaySigma*decaySigma + v)
	row.c *= by * cmplx.Rect(1, w*phase) * m.setDecay(from, m.allowed(row.alpha-within(fade, stepFade/from.width)))
}
