package beats

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"tunerd/internal/stiffstring"
)

// A sighting is one partial of a string as measured.
type sighting struct {
	k            int
	cents, sigma float64 // against the tone that the meter was given; sigma with the scatter of real partials
	split        bool    // it is no single line
}

// predict says from the other partials of both strings where those that coincide must lie.
func (m *Meter) predict(from, to int) rate {
	seen, split := 0, 0
	out := rate{known: true}
	at, sigma := &out.at, &out.atSigma
	for i, t := range [2]Tone{m.cfg.Lower, m.cfg.Upper} {
		found := m.sightings(i, from, to)
		for _, s := range found {
			seen++
			if s.split {
				split++
			}
		}
		k := [2]int{m.cfg.N, m.cfg.M}[i]
		cents, doubt, ok := extrapolate(found, t.B, k)
		out.known = out.known && ok
		if !ok {
			doubt = math.Inf(1)
		}
		at[i] = t.Partial(k) * math.Exp2(cents/1200)
		sigma[i] = at[i] * math.Ln2 / 1200 * math.Hypot(doubt, stiffstring.ScatterSigma(k))
		out.strings[i].Cents, out.strings[i].Sigma, ok = extrapolate(found, t.B, 1)
		out.strings[i].Heard = ok && own(found)
	}
	out.split = 5*split >= seen // also if none is seen: they might be
	out.beat, out.sigma, out.hz = at[1]-at[0], math.Hypot(sigma[0], sigma[1]), (at[0]+at[1])/2
	return out
}

// own says whether the partials seen are those of the string itself, not all of them those of a note
// an octave or more above it.
func own(seen []sighting) bool {
	common := 0
	for _, s := range seen {
		common = gcd(common, s.k)
	}
	return common == 1
}

// sightings are the partials of string i that are heard apart from the other string's.
func (m *Meter) sightings(i, from, to int) []sighting {
	var seen []sighting
	for _, o := range m.others[i] {
		if s, ok := m.see(o, from, to); ok {
			seen = append(seen, s)
		}
	}
	return seen
}

// see measures one partial.
func (m *Meter) see(o other, from, to int) (sighting, bool) {
	reach := o.hz * (math.Exp2(searchCents/1200.0) - 1)
	f := newLineFitter(o.out[from:to], m.rate, o.width())
	peak, height := f.peak(reach)
	if height < 50*f.noise {
		return sighting{}, false
	}
	fit, ok := f.fit(peak)
	if !ok || math.Abs(fit.lines[0].hz()) > reach {
		return sighting{}, false
	}
	noise, split := f.noiseNear(fit, o.width())
	cov, ok := f.covariance(fit, noise)
	if !ok {
		return sighting{}, false
	}
	perHz := stiffstring.CentsPerNeper / o.hz
	own := math.Sqrt(cov.At(3, 3)) / (2 * math.Pi) * perHz
	return sighting{o.k, 1200 * math.Log2(1+fit.lines[0].hz()/o.hz), math.Hypot(own, stiffstring.ScatterSigma(o.k)), split}, true
}

// extrapolate returns by how many cents partial k is off the given tone, if those seen keep to the
// law: a common offset, and a change of B from b, by weighted least squares with a prior on B.
// How far partial k itself may be off the law is not in sigma.
func extrapolate(seen []sighting, b float64, k int) (cents, sigma float64, ok bool) {
	if len(seen) == 0 {
		return 0, 0, false
	}
	slope := func(n int) float64 { return stiffstring.CentsByB(b, float64(n)) }
	a := mat.NewSymDense(2, []float64{0, 0, 0, 1 / (stiffstring.LowStiffnessSigma * stiffstring.LowStiffnessSigma)})
	rhs := mat.NewVecDense(2, nil)
	for _, s := range seen {
		w, g := 1/(s.sigma*s.sigma), slope(s.k)
		a.SetSym(0, 0, a.At(0, 0)+w)
		a.SetSym(0, 1, a.At(0, 1)+w*g)
		a.SetSym(1, 1, a.At(1, 1)+w*g*g)
		rhs.SetVec(0, rhs.AtVec(0)+w*s.cents)
		rhs.SetVec(1, rhs.AtVec(1)+w*g*s.cents)
	}
	var chol mat.Cholesky
	var x mat.VecDense
	var cov mat.SymDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, rhs) != nil || chol.InverseTo(&cov) != nil {
		return 0, 0, false
	}
	g := slope(k)
	variance := cov.At(0, 0) + 2*g*cov.At(0, 1) + g*g*cov.At(1, 1)
	return x.AtVec(0) + g*x.AtVec(1), math.Sqrt(variance), true
}
