package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// bendSigma is how much (cents/s) a string is expected to glide in a window that leaves out the
// attack.
const bendSigma = 4.0

// straighten estimates the linear glide of each string from what its partials leave: a chirp
// common to all of them, C·exp(..)·iω·t²/2, clear of a change of phase and frequency.
func (f *fit) straighten(voices []voice) {
	for i := range voices {
		voices[i].bendInfo, voices[i].bendPull = 1/sq(bendSigma/stiffstring.CentsPerNeper), 0
	}
	for i := range f.clusters {
		c := &f.clusters[i]
		f.remainder(i, voices)
		f.waves(c, voices)
		scale := 1 / (c.rho * taperCost(c.size()))
		for k, a := range f.active[c.from:c.to] {
			p := &f.partials[a]
			info, pull := f.chirp(p, f.basis[k*len(f.t):(k+1)*len(f.t)])
			v := &voices[p.voice]
			v.bendInfo += info * scale
			v.bendPull += pull * scale
		}
	}
	for i := range voices {
		v := &voices[i]
		if !v.candidate {
			continue
		}
		v.bendPull -= v.bend / sq(bendSigma/stiffstring.CentsPerNeper)
		step := v.bendPull / v.bendInfo
		limit := 1 / (v.f1 * 4 * f.seconds * f.seconds)
		v.bend += math.Max(-limit, math.Min(limit, step))
	}
}

// chirp returns the information that partial p with wave e has of a change of the glide, and its
// product with the remainder.
func (f *fit) chirp(p *partial, e []complex128) (info, pull float64) {
	// Weighted regression of t² on 1 and t.
	var m0, m1, m2, m3, m4 float64
	for j, v := range e {
		w, t := f.h[j]*norm(v), f.t[j]
		m0 += w
		m1 += w * t
		m2 += w * t * t
		m3 += w * t * t * t
		m4 += w * t * t * t * t
	}
	det := m0*m2 - m1*m1
	if !(det > 0) {
		return 0, 0
	}
	a, b := (m2*m2-m1*m3)/det, (m0*m3-m1*m2)/det
	k := math.Pi * p.hz
	for j, v := range e {
		q := k * (f.t[j]*f.t[j] - a - b*f.t[j])
		r := conj(p.c*v) * f.left[j]
		pull += f.h[j] * q * imag(r)
		info += f.h[j] * q * q * norm(p.c*v)
	}
	return info, pull
}
