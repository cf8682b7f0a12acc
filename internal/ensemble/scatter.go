package ensemble

import (
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// leastScatter keeps a little scatter in the fit of the most regular strings.
const leastScatter = 0.01

// A spread is the width of the scatter about the law in units of scatterWidth, for the lowest
// partials and for the others: body and pickup move the lowest of all strings of an instrument
// alike, or of none.
type spread struct{ low, high float64 }

// lowScatter is the highest partial that counts as low.
const lowScatter = 3

// of returns the variance (cents²) of partial k about the law.
func (s spread) of(k int) float64 {
	if k <= lowScatter {
		return sq(s.low * stiffstring.ScatterWidth(k))
	}
	return sq(s.high * stiffstring.ScatterWidth(k))
}

// expect sets the scatter about the law that is expected of each partial: the variance that makes
// the fit that of a Cauchy distribution (iteratively reweighted least squares).
func (f *fit) expect() {
	for _, a := range f.active {
		p := &f.partials[a]
		p.extra = f.scatter.of(p.k) + p.off*p.off + p.variance
	}
}

// settle makes the final fit of the law with the scatter that the partials really show.
func (f *fit) settle(voices []voice) bool {
	f.findScatter(voices)
	for range 12 {
		if !f.law.solve(f, voices) {
			return false
		}
		for i, a := range f.active {
			p := &f.partials[a]
			v := &voices[p.voice]
			e := f.law.dev[i] - v.df - v.db*stiffstring.CentsByB(v.b, float64(p.k))
			p.extra = f.scatter.of(p.k) + e*e + f.law.variance[i]
		}
	}
	f.apply(voices)
	return true
}

// What is expected of the scatter before anything is measured: usualCount partials that deviate by
// the median of usualScatter widths.
const (
	usualScatter = 1.0
	usualCount   = 3
	highPart     = 0.3 // of the scatter of the low partials that the others have at least
	fewAlone     = 12  // fewer partials than that cannot show that there is no scatter
)

// findScatter estimates the scatter from the partials that stand alone.
func (f *fit) findScatter(voices []voice) {
	f.scatter.high = f.foundScatter(voices, lowScatter+1, mostPartials)
	f.scatter.low = f.foundScatter(voices, 1, lowScatter)
	f.scatter.high = math.Max(f.scatter.high, highPart*math.Min(f.scatter.low, 1))
}

// foundScatter estimates the scatter of the partials from..to that stand alone: the width for
// which the median of squared deviation ÷ (variance + width²) is that of a unit normal squared,
// 0.4549. It is leastScatter if noise explains what there is.
func (f *fit) foundScatter(voices []voice, from, to int) float64 {
	f.alone = f.alone[:0]
	for i := range f.clusters {
		c := &f.clusters[i]
		p := &f.partials[f.active[c.from]]
		if c.size() != 1 || p.k < from || p.k > to {
			continue
		}
		v := &voices[p.voice]
		l := f.tail(c, 0)[0]
		e := p.off + f.vector[4*c.from+3]/l - v.df - v.db*stiffstring.CentsByB(v.b, float64(p.k))
		f.alone = append(f.alone, deviation{e: e, variance: 1 / (l * l), width: stiffstring.ScatterWidth(p.k)})
	}
	n := len(f.alone)
	free := n - f.law.size/4 // each group bears about half of the two unknowns a string
	if free >= fewAlone/2 && n >= fewAlone {
		want := 0.4549 * float64(free) / float64(n)
		// The median of n squared normals strays by about 0.9/√n of itself.
		if f.medianRatio(0) < want*(1+3.3/math.Sqrt(float64(n))) {
			return leastScatter
		}
	}
	for range usualCount {
		f.alone = append(f.alone, deviation{e: 0.6745 * usualScatter, width: 1})
	}
	return math.Max(f.mid(n-f.law.size/4+usualCount), leastScatter)
}

// mid returns the scatter at which the median ratio is as wanted with so many degrees of freedom.
func (f *fit) mid(free int) float64 {
	want := 0.4549 * float64(max(free, 1)) / float64(len(f.alone))
	lo, hi := 0.0, 8.0
	for range 20 {
		mid := (lo + hi) / 2
		if f.medianRatio(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// doubt is by how much the uncertainty of a pitch is raised that rests on so few partials that
// their own scatter is hardly known: between Student's factor for as many degrees of freedom and
// that of a scatter known from the other strings.
func (s spread) doubt(heard int) float64 {
	if s.high <= leastScatter {
		return 1
	}
	return 1 + 1.2/float64(max(heard-1, 1))
}

// A deviation is that of one partial from the law, in cents.
type deviation struct{ e, variance, width float64 }

func (f *fit) medianRatio(scatter float64) float64 {
	f.order = f.order[:0]
	for _, d := range f.alone {
		f.order = append(f.order, d.e*d.e/(d.variance+sq(scatter*d.width)+1e-12))
	}
	slices.Sort(f.order)
	n := len(f.order)
	return (f.order[(n-1)/2] + f.order[n/2]) / 2
}
