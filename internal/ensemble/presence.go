package ensemble

import "math"

const (
	standsOut  = 30.0 // squared amplitude over its variance from which a partial is heard
	levelReach = 45.0 // dB below the loudest partial of all at which none counts as heard
)

// weigh counts for each voice the partials that are heard: those whose amplitude differs from
// nothing by far more than noise, what else sounds close by and the uncertainty of their
// frequency would explain.
func (f *fit) weigh(voices []voice) {
	var loudest float64
	for _, a := range f.active {
		loudest = math.Max(loudest, norm(f.partials[a].c))
	}
	for i := range voices {
		voices[i].heard, voices[i].testable, voices[i].power = 0, 0, 0
	}
	for i := range f.clusters {
		f.weighCluster(&f.clusters[i], voices, loudest)
	}
}

func (f *fit) weighCluster(c *cluster, voices []voice, loudest float64) {
	n := c.size()
	size := 4 * n
	mat := f.matrix[c.at : c.at+size*size]
	act := f.active[c.from:c.to]
	f.refactor(c, mat)
	var all float64
	for _, a := range act {
		all += norm(f.partials[a].c)
	}
	f.column = grow(f.column, size)
	for k, a := range act {
		p := &f.partials[a]
		v := &voices[p.voice]
		var variance float64
		for part := range 2 {
			clear(f.column)
			f.column[2*k+part] = 1
			solve(mat, size, f.column)
			variance += f.column[2*k+part]
		}
		power := norm(p.c)
		if variance*standsOut < all {
			v.testable++
		}
		if power > standsOut*variance && power > loudest*math.Pow(10, -levelReach/10) {
			v.heard++
			v.power += power
			p.heard = true
		} else {
			p.heard = false
		}
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
