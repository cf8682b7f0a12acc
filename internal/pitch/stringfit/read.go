package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Read fills r with what the last fit found: pitch, inharmonicity, partials. Frequencies of
// partials are those at the same moment as the pitch; phases those at sample r.At. Partials that
// do not stand out of the noise are left out.
func (f *Fitter) Read(r *Result) {
	j := &f.joint
	s := &f.series
	r.F1Hz = f.Hz
	r.Decide(j.split(f.Variance))
	r.B, r.BSigma = j.b, j.sigmaB
	r.WindowS = 2 * s.half
	r.Partial1Hz = 0
	f.heard = f.heard[:0]
	// The difference of two large energies has few digits: no more than 60 dB are told apart.
	rest := max(s.energy-j.signal, 1e-6*s.energy)
	leaks := 10*math.Log10(2*rest/float64(s.samples())) - leakDB
	na := len(j.active)
	for k, row := range j.active {
		a := math.Hypot(real(j.c[row]), imag(j.c[row])) * j.loudness(k)
		margin := 10 * math.Log10(a*a*float64(s.n)/(25*j.rho[k]+1e-30))
		if !(margin >= 0) {
			continue
		}
		n := j.number[k]
		p := Partial{
			N: n, OffCents: j.dev[k], SigmaCents: math.Sqrt(j.devCov[k*na+k]),
			LevelDB: 20 * math.Log10(a), Margin: margin,
		}
		if p.SigmaCents*float64(n) < heardSigma && p.LevelDB > leaks {
			f.heard = append(f.heard, p)
		}
		if j.seen[row] != found {
			continue
		}
		hz := stiffstring.PartialHz(f.Hz, j.b, n) * math.Exp(j.dev[k]/stiffstring.CentsPerNeper)
		if n == 1 {
			r.Partial1Hz = hz
		}
		p.Hz, p.PhaseTurns = hz, f.phaseAt(k, float64(r.At))
		r.Partials = append(r.Partials, p)
	}
	if !r.LowestHeard() {
		r.Odds = odds(r.F1Hz, r.B, f.heard)
	}
	r.SNRdB = 10 * math.Log10(max(j.signal, 1e-9*s.energy)/max(rest, 1e-30))
	r.Residual = rest / float64(s.n*s.length)
}

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
		p := math.Pow(10, r.Partials[i].LevelDB/10)
		if r.Partials[i].N > top {
			high += p
		} else {
			low += p
		}
	}
	if high == 0 {
		return r.SNRdB
	}
	return -10 * math.Log10(math.Pow(10, -r.SNRdB/10)+high/low)
}

// HighestPartial returns the number of the highest partial that the last reading was of, known well or not.
func (f *Fitter) HighestPartial() int {
	most := f.joint.highest()
	for i := range f.heard {
		most = max(most, f.heard[i].N)
	}
	return most
}

// loudness returns the root mean square over the window of the basis of active partial k.
func (j *joint) loudness(k int) float64 {
	n := j.s.n
	var sum float64
	for _, e := range j.basis[k*n : (k+1)*n] {
		sum += real(e)*real(e) + imag(e)*imag(e)
	}
	return math.Sqrt(sum / float64(n))
}

// phaseAt returns the phase of active partial k at a sample index, in turns [0, 1).
func (f *Fitter) phaseAt(k int, at float64) float64 {
	j, s := &f.joint, &f.series
	c := j.c[j.active[k]]
	mid := s.middle()
	// The amplitude belongs to the frequency that the model holds; the last word on the frequency
	// turns the partial about the centroid of its energy.
	t := (at-mid)/f.SampleRate + f.warp.psi(at, f.SampleRate) - s.late
	more := stiffstring.PartialHz(j.f1, j.b, j.number[k])*math.Exp(j.dev[k]/stiffstring.CentsPerNeper) - j.before[k]
	turns := math.Atan2(imag(c), real(c))/(2*math.Pi) + math.Mod(j.before[k]*t, 1) + more*(t-j.centre[k])
	return turns - math.Floor(turns)
}
