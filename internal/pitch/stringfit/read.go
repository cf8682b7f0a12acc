package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Read fills r with what the last fit found: pitch, inharmonicity, partials. Frequencies of
// partials are those at the same moment as the pitch; phases those at sample r.At. Partials that
// do not stand out of the noise are left out.
func (w *fittedWindow) Read(r *Result) {
	j, s := &w.joint, &w.series
	r.F1Hz = w.Hz
	r.Decide(j.split(w.Variance))
	r.B, r.BSigma = j.model.b, j.model.sigmaB
	r.WindowS = 2 * s.half
	r.Partial1Hz = 0
	w.heard = w.heard[:0]
	// The difference of two large energies has few digits: no more than 60 dB are told apart.
	rest := max(s.energy-j.signal, leastNoise*s.energy)
	leaks := DB(2*rest/float64(s.samples())) - leakDB
	for k := range j.basis.part {
		p, ok := j.partial(k)
		if !ok {
			continue
		}
		if p.SigmaCents*float64(p.N) < heardSigma && p.LevelDB > leaks {
			w.heard = append(w.heard, p)
		}
		if j.model.row[j.basis.part[k].row].seen != found {
			continue
		}
		p.Hz = stiffstring.PartialHz(w.Hz, r.B, p.N) * math.Exp(p.OffCents/stiffstring.CentsPerNeper)
		p.PhaseTurns = w.phaseAt(k, float64(r.At))
		if p.N == 1 {
			r.Partial1Hz = p.Hz
		}
		r.Partials = append(r.Partials, p)
	}
	if !r.LowestHeard() {
		r.Odds = odds(r.F1Hz, r.B, w.heard)
	}
	r.SNRdB = DB(max(j.signal, leastSignal*s.energy) / max(rest, leastRest))
	r.Residual = rest / float64(s.n*s.length)
}

// What keeps logarithms finite: the signal as a part of the energy, the rest of it, and the noise of a block.
const (
	leastSignal = 1e-9
	leastRest   = 1e-30
)

// justHeard is the squared amplitude of a partial, times the number of blocks, in units of the noise in one, from which
// it is told: a little more than what is [significant], an amplitude being twice what a block holds of it.
const justHeard = 25

// partial returns active partial k as the final fit has it, without its frequency and phase. It reports false if that
// does not stand out of the noise.
func (j *joint) partial(k int) (Partial, bool) {
	p := &j.basis.part[k]
	c := j.model.row[p.row].c
	a := math.Hypot(real(c), imag(c)) * j.basis.loudness(k)
	margin := DB(a * a * float64(j.basis.window.n) / (justHeard*p.rho + leastRest))
	if !(margin >= 0) {
		return Partial{}, false
	}
	return Partial{
		N: p.number, OffCents: j.law.dev[k], SigmaCents: math.Sqrt(j.law.variance(k)),
		LevelDB: 2 * DB(a), Margin: margin,
	}, true
}

// bel is the number of decibels in one.
const bel = 10

// DB returns the level of a power, in dB.
func DB(power float64) float64 { return bel * math.Log10(power) }

// PowerOf returns the power of a level in dB.
func PowerOf(dB float64) float64 { return math.Pow(bel, dB/bel) }

// heardSigma is how well (cents of the lowest partial) the frequency of a partial must be known for it to count
// as heard: to a twentieth of the way to the next. What leaks over all of a short window, as the edge of a
// gap does, is found near every partial, but not so well.
const heardSigma = stiffstring.CentsPerNeper / 20

// leakDB is how far below everything that a fit leaves a partial may be what something else leaks: as from
// three bins away.
const leakDB = 20

// Clearness returns by how much (dB) the partials up to number top stand above all else, the higher ones of r
// included.
func (r *Result) Clearness(top int) float64 {
	var low, high float64
	for i := range r.Partials {
		p := PowerOf(r.Partials[i].LevelDB)
		if r.Partials[i].N > top {
			high += p
		} else {
			low += p
		}
	}
	if high == 0 {
		return r.SNRdB
	}
	return -DB(PowerOf(-r.SNRdB) + high/low)
}

// HighestPartial returns the number of the highest partial that the last reading was of, known well or not.
func (w *fittedWindow) HighestPartial() int {
	most := w.joint.model.highest(w.joint.basis.part)
	for i := range w.heard {
		most = max(most, w.heard[i].N)
	}
	return most
}

// phaseAt returns the phase of active partial k at a sample index, in turns [0, 1).
func (w *fittedWindow) phaseAt(k int, at float64) float64 {
	m, s, p := &w.joint.model, &w.series, &w.joint.basis.part[k]
	c := m.row[p.row].c
	mid := s.middle()
	// The amplitude belongs to the frequency that the model holds; the last word on the frequency
	// turns the partial about the centroid of its energy.
	t := (at-mid)/s.fs + w.warp.psi(at, s.fs) - s.late
	more := stiffstring.PartialHz(m.f1, m.b, p.number)*math.Exp(w.joint.law.dev[k]/stiffstring.CentsPerNeper) - p.hz
	turns := math.Atan2(imag(c), real(c))/(2*math.Pi) + math.Mod(p.hz*t, 1) + more*(t-p.centre)
	return turns - math.Floor(turns)
}
