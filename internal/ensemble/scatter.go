package ensemble

import (
	"math"
	"slices"
)

// commonScatter is how far (cents) partials that scatter about the law by one width move in
// common, which their spread about it cannot show: about what a second polarisation a quarter as
// strong does.
const commonScatter = 0.15

// leastScatter keeps a little scatter in the fit of the most regular strings.
const leastScatter = 0.01

// expect sets the scatter about the law that is expected of each partial: the variance that makes
// the fit that of a Cauchy distribution (iteratively reweighted least squares).
func (f *fit) expect() {
	for _, a := range f.active {
		p := &f.partials[a]
		p.extra = sq(f.scatter*scatterWidth(p.k)) + p.off*p.off + p.variance
	}
}

// settle makes the final fit of the law with the scatter that the partials really show.
func (f *fit) settle(voices []voice) bool {
	f.scatter = f.foundScatter(voices)
	for range 12 {
		if !f.law.solve(f, voices) {
			return false
		}
		for i, a := range f.active {
			p := &f.partials[a]
			v := &voices[p.voice]
			e := f.law.dev[i] - v.df - v.db*centsByB(v.b, p.k)
			p.extra = sq(f.scatter*scatterWidth(p.k)) + e*e + f.law.variance[i]
		}
	}
	f.apply(voices)
	return true
}

// foundScatter estimates the scatter from the partials that stand alone, in units of scatterWidth:
// the width for which the median of squared deviation ÷ (variance + width²) is that of a unit
// normal squared, 0.4549. It is leastScatter if noise explains what there is, and 1, what is usual,
// if there are too few to tell.
func (f *fit) foundScatter(voices []voice) float64 {
	f.order = f.order[:0]
	f.alone = f.alone[:0]
	for i := range f.clusters {
		c := &f.clusters[i]
		if c.size() != 1 {
			continue
		}
		p := &f.partials[f.active[c.from]]
		v := &voices[p.voice]
		l := f.tail(c, 0)[0]
		e := p.off + f.vector[4*c.from+3]/l - v.df - v.db*centsByB(v.b, p.k)
		f.alone = append(f.alone, deviation{e: e, variance: 1 / (l * l), width: scatterWidth(p.k)})
	}
	free := len(f.alone) - f.law.size/2
	if free < 6 {
		return 1
	}
	want := 0.4549 * float64(free) / float64(len(f.alone))
	// The median of n squared normals strays by about 0.9/√n of itself.
	if f.medianRatio(0) < want*(1+3.3/math.Sqrt(float64(len(f.alone)))) {
		return leastScatter
	}
	lo, hi := 0.0, 4.0
	for range 20 {
		mid := (lo + hi) / 2
		if f.medianRatio(mid) > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Max(hi, leastScatter)
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
