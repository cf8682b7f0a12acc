package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

const (
	standsOut  = 30.0 // squared amplitude over its variance from which a partial is heard
	leastSNR   = 6.0  // of the partials together, power
	levelReach = 45.0 // dB below the loudest partial of all at which none counts as heard
	// A string is not played whose loudest partial is further below that of all, dB; strings that
	// nobody plays ring along with the others.
	stringReach = 32.0
)

// Parts of a power.
const (
	// A partial could have been heard if it would stand out with this part of what sounds in its
	// cluster, or of the loudest partial of its own string that is heard.
	sharePart = 0.03
	ownPart   = 0.01
	belowPart = 0.03  // the same for partials below the loudest one
	oddPart   = 0.003 // of the loudest partial that an odd one should have
	quietPart = 0.001 // of the loudest partial of all, for a string of which nothing is heard
)

// lowPartials are those that a sounding string has nearly all, rootPartials those of which it has
// one at least.
const (
	lowPartials  = 8
	rootPartials = 3
)

// The evidence is what is heard of a string.
type evidence struct {
	heard          int     // partials that stand out
	power, loudest float64 // of these together, and of the loudest
	loudestK       int     // its number
	alone          bool    // partial 1 is heard in a cluster of its own
	noise          float64 // power in the band of one partial
	quietest       float64 // power that the loudest must have

	low, lowOdd, root             int // of the lowest partials: heard, the odd ones, the first three
	tested, testedOdd, testedRoot int // the same that could have been heard
	covered                       int // that could not, for others sound there
}

// weigh counts for each voice the partials that are heard: those whose amplitude differs from
// nothing by far more than noise, what else sounds close by and the uncertainty of their
// frequency would explain. Of the lowest it also counts those that would have been heard.
func (f *fit) weigh(voices []voice) {
	var loudest float64
	for _, a := range f.active {
		loudest = math.Max(loudest, norm(f.partials[a].c))
	}
	for i := range voices {
		v := &voices[i]
		v.evidence = evidence{noise: f.white, quietest: loudest * math.Pow(10, -stringReach/10)}
	}
	for i := range f.clusters {
		f.uncertainty(&f.clusters[i])
	}
	for _, a := range f.active {
		p := &f.partials[a]
		v := &voices[p.voice]
		power := norm(p.c)
		p.heard = power > standsOut*p.doubt && power > loudest*math.Pow(10, -levelReach/10)
		if !p.heard {
			continue
		}
		v.heard++
		v.power += power
		if power > v.loudest {
			v.loudest, v.loudestK = power, p.k
		}
	}
	for _, a := range f.active {
		p := &f.partials[a]
		if p.k <= lowPartials {
			f.weighLow(p, &voices[p.voice], loudest)
		}
	}
}

// weighLow counts one of the lowest partials of a string among those that could have been heard,
// or among those that others may cover.
func (f *fit) weighLow(p *partial, v *voice, loudest float64) {
	own := ownPart * v.loudest
	switch {
	case v.heard == 0:
		own = quietPart * loudest
	case p.k < v.loudestK:
		own = belowPart * v.loudest
	}
	c := &f.clusters[p.cluster]
	switch {
	case p.heard || p.doubt*standsOut < math.Max(sharePart*c.power, own):
		v.tested++
		v.testedOdd += p.k % 2
		if p.k <= rootPartials {
			v.testedRoot++
		}
	case c.size() > 1 && c.power > quietPart*loudest:
		v.covered++
	}
	if p.heard {
		v.low++
		if p.k <= rootPartials {
			v.root++
		}
		v.alone = v.alone || p.k == 1 && c.size() == 1 && norm(p.c) > ownPart*loudest
		if p.k%2 == 1 && norm(p.c) > oddPart*v.loudest {
			v.lowOdd++
		}
	}
}

// sounds reports whether enough partials are heard: three, if the lowest of all stands alone, which
// no partial of another string can be then; else most of those that could be, odd ones too, as the
// even ones alone are those of a string an octave higher, and one of the first three.
func (v *voice) sounds() bool {
	if v.heard < min(2, v.partials) || v.snr() < leastSNR || v.loudest < v.quietest || v.strayed() {
		return false
	}
	most := 5*v.low >= 3*v.tested && (v.lowOdd > 0 || v.testedOdd < 2) && (v.root > 0 || v.testedRoot == 0)
	return most || v.alone && v.heard >= 3
}

// strayed reports whether the fit has gone where no string is looked for.
func (v *voice) strayed() bool {
	return math.Abs(stiffstring.CentsPerNeper*math.Log(v.f1/v.target)) > searchCents+strayCents
}

// snr returns the power of the partials that are heard over the noise in their bands.
func (v *voice) snr() float64 {
	return v.power / (v.noise*float64(v.heard) + math.SmallestNonzeroFloat64)
}

// mayHide reports whether a string that is not heard may sound all the same: others cover the first
// three of its partials and most of the lowest, and hardly one that could have been heard is absent.
func (v *voice) mayHide() bool {
	return v.testedRoot == v.root && v.tested-v.low <= 1 && v.covered >= 2 && v.covered >= v.tested
}

// uncertainty sets the variance of the amplitude of each partial of a cluster, and its power.
func (f *fit) uncertainty(c *cluster) {
	size := 4 * c.size()
	mat := f.matrix[c.at : c.at+size*size]
	f.refactor(c, mat)
	f.column = grow(f.column, size)
	c.power = 0
	for k, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		p.doubt = 0
		for part := range 2 {
			clear(f.column)
			f.column[2*k+part] = 1
			solve(mat, size, f.column)
			p.doubt += f.column[2*k+part]
		}
		c.power += norm(p.c)
	}
}

// refactor turns the factor of a cluster's normal equations into that of the same with the
// deviations held by the law: the trailing block gets T⁻¹ added.
func (f *fit) refactor(c *cluster, mat []float64) {
	n := c.size()
	size := 4 * n
	f.column = grow(f.column, n*n)
	for k := range n {
		for l := range k + 1 {
			var sum float64
			for x, v := range f.tail(c, l) {
				sum += v * f.tail(c, k)[x]
			}
			f.column[k*n+l] = sum
		}
	}
	for k, a := range f.active[c.from:c.to] {
		f.column[k*n+k] += 1 / f.partials[a].extra
	}
	factor(f.column, n)
	for k := range n {
		copy(mat[(3*n+k)*size+3*n:][:k+1], f.column[k*n:k*n+k+1])
	}
}
