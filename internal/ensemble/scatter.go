package ensemble

import (
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// leastScatter keeps a little scatter in the fit of the most regular strings.
const leastScatter = 0.002

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
	for step := range 12 {
		if !f.law.solve(f, voices) {
			return false
		}
		if step == 0 {
			f.findScatter(voices)
		}
		for i, a := range f.active {
			p := &f.partials[a]
			v := &voices[p.voice]
			e := f.law.dev[i] - v.df - v.db*stiffstring.CentsByB(v.b, float64(p.k))
			p.extra = f.scatter.of(p.k) + e*e + f.law.variance[i]
		}
	}
	f.part = f.found(voices)
	f.apply(voices)
	return true
}

// What is expected of the scatter before anything is measured: usualCount partials that deviate by
// the median of usualScatter widths.
const (
	usualScatter = 1.0
	usualCount   = 3
	highPart     = 0.3 // of the scatter of the low partials that the others have at least, if few of them are seen
	fewAlone     = 12  // fewer partials than that cannot show that there is no scatter
)

// findScatter estimates the scatter from the partials that stand alone. There are few low ones: where the others
// show what is usual of these strings, the low ones are expected to scatter by as many widths.
func (f *fit) findScatter(voices []voice) {
	usual := usualScatter
	high, shown := f.foundScatter(voices, lowScatter+1, mostPartials, usual)
	if shown {
		usual = high
	}
	low, _ := f.foundScatter(voices, 1, lowScatter, usual)
	if !shown {
		high = math.Max(high, highPart*math.Min(low, 1))
	}
	f.scatter = spread{low: low, high: high}
}

// foundScatter estimates the scatter of the partials from..to that stand alone: the width for
// which the median of squared deviation ÷ (variance + width²) is that of a unit normal squared,
// 0.4549. It is leastScatter if noise explains what there is. It also reports whether there are enough of them to
// show what it is.
func (f *fit) foundScatter(voices []voice, from, to int, usual float64) (scatter float64, shown bool) {
	f.findAlone(voices, from, to)
	n := len(f.alone)
	free := f.freeAlone()
	shown = free >= fewAlone/2 && n >= fewAlone
	if shown {
		want := 0.4549 * float64(free) / float64(n)
		// The median of n squared normals strays by about 0.9/√n of itself.
		if f.medianRatio(0) < want*(1+3.3/math.Sqrt(float64(n))) {
			return leastScatter, shown
		}
	}
	for range usualCount {
		f.alone = append(f.alone, deviation{e: 0.6745 * usual, width: 1})
	}
	return math.Max(f.mid(free+usualCount), leastScatter), shown
}

// freeAlone returns the degrees of freedom of the partials in alone: they bear about half of the two unknowns a
// string.
func (f *fit) freeAlone() int { return len(f.alone) - f.law.size/4 }

// findAlone collects the deviations from the law of those of the partials from..to that are placed by themselves,
// within less than the width of the usual scatter.
func (f *fit) findAlone(voices []voice, from, to int) {
	f.alone = f.alone[:0]
	for i := range f.clusters {
		c := &f.clusters[i]
		n := c.size()
		f.column = grow(f.column, 2*n)
		place, unit := f.column[:n], f.column[n:]
		copy(place, f.vector[4*c.from+3*n:4*c.to])
		for k := n - 1; k >= 0; k-- { // back through the factor of P
			row := f.tail(c, k)
			place[k] /= row[k]
			for x, v := range row[:k] {
				place[x] -= v * place[k]
			}
		}
		for k, a := range f.active[c.from:c.to] {
			p := &f.partials[a]
			if p.k < from || p.k > to {
				continue
			}
			variance := 0.0
			for x := k; x < n; x++ { // P⁻¹ at k: the square of column k of the inverse factor
				row := f.tail(c, x)
				sum := 0.0
				if x == k {
					sum = 1
				}
				for y := k; y < x; y++ {
					sum -= row[y] * unit[y]
				}
				unit[x] = sum / row[x]
				variance += sq(unit[x])
			}
			width := stiffstring.ScatterWidth(p.k)
			if !(variance < sq(width)) {
				continue
			}
			v := &voices[p.voice]
			e := p.off + place[k] - v.df - v.db*stiffstring.CentsByB(v.b, float64(p.k))
			f.alone = append(f.alone, deviation{e: e, variance: variance, width: width})
		}
	}
}

// Limits of [fit.found]: what so few partials show may be chance.
const (
	leastFound = 0.25
	mostFound  = 1.5
)

// found returns by what the variances of the law's unknowns are to be multiplied so that they follow from how far the
// partials really lie off it, not from the distribution that was assumed (the sandwich estimate of an M-estimator:
// P. J. Huber, Robust Statistics, 1981, section 6.6): Σψ²·Σw/(Σψ′)² of those that stand alone, with the Cauchy
// weight w and ψ = w·e.
func (f *fit) found(voices []voice) float64 {
	f.findAlone(voices, lowScatter+1, mostPartials)
	n, free := len(f.alone), f.freeAlone()
	if n < fewAlone || free < fewAlone/2 {
		return 1
	}
	var weights, squares, slopes float64
	for _, d := range f.alone {
		own := d.variance + sq(f.scatter.high*d.width)
		w := 1 / (own + d.e*d.e)
		weights += w
		squares += sq(w * d.e)
		slopes += sq(w) * (own - d.e*d.e)
	}
	if !(slopes > 0) {
		return mostFound
	}
	part := squares * weights / sq(slopes) * float64(n) / float64(free)
	return math.Max(leastFound, math.Min(mostFound, part))
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

// commonSeconds is the length of the windows in which [stiffstring.CommonScatter] was measured. A longer one averages
// over more of the movement.
const commonSeconds = 0.3

// common returns how far (cents) all partials of a string may have moved in common.
func (f *fit) common() float64 {
	return stiffstring.CommonScatter * stiffstring.UpperScatterWidth * f.scatter.high * math.Sqrt(commonSeconds/f.seconds)
}
