package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// The search looks at the peaks of the spectrum alone.
// ReachCents is how far a string may be off its target and be found.
const ReachCents = 60.0

const (
	searchCents    = ReachCents
	strayCents     = 10.0 // and how much further the reading may come out
	searchStep     = 1.5  // cents
	searchPartials = 10
	levelRange     = 50.0 // dB below the loudest peak at which a peak counts for nothing
	sharedWeight   = 0.3  // of a peak that another string's partial explains
	searchRounds   = 3    // shared peaks are found anew in each
	ownPeak        = 0.15 // in skirtHz: a fitted partial lies so near to its peak
	elsewhere      = 0.1  // in 1/window: how far apart two places are
	explained      = -2   // claim of a peak that says nothing any more
)

// searchB are the inharmonicities that are tried where none is known, in units of what is usual.
var searchB = [...]float64{0.15, 0.4, 0.8, 1.3, 2, 3.4, 6}

// spreadOfB is the standard deviation of ln B about its usual value from string to string.
const spreadOfB = 0.8

// oddB returns what an unusual B costs in units of the score.
func (v *voice) oddB(b float64) float64 {
	if v.known {
		return 0.1 * sq((b-v.meanOfB)/v.sigmaOfB)
	}
	return 0.1 * sq(math.Log(math.Max(b, 0.02*v.meanOfB)/v.meanOfB)/v.spreadOfB)
}

// search finds where each string may sound from the peaks, and sets candidate, f1, b and sigma of
// every voice. Strings are looked at by turns: what one explains counts less for the others.
func (r *Reader) search() {
	for i := range r.voices {
		r.voices[i].candidate = false
	}
	for round := range searchRounds {
		for i := range r.voices {
			r.claim(i)
			if v := &r.voices[i]; v.newClaims(r.spectrum) || round == 0 {
				v.find(r.spectrum)
			}
		}
	}
	r.swap()
}

// score returns how well all strings together explain the peaks: in full for the first that meets
// a peak, less for the others.
func (r *Reader) score() float64 {
	for i := range r.spectrum.peaks {
		r.spectrum.peaks[i].claim = -1
	}
	var sum float64
	for i := range r.voices {
		if v := &r.voices[i]; v.candidate {
			sum += v.score(r.spectrum, v.f1, v.b)
			r.mark(i)
		}
	}
	return sum
}

// claim marks the peaks that the other strings explain as they have been found so far.
func (r *Reader) claim(own int) {
	s := r.spectrum
	for i := range s.peaks {
		s.peaks[i].claim = -1
	}
	for i := range r.voices {
		if i != own && r.voices[i].candidate {
			r.mark(i)
		}
	}
}

// newClaims reports whether the others claim other peaks than when it was last asked.
func (v *voice) newClaims(s *spectrum) bool {
	n, same := 0, true
	for i := range s.peaks {
		if s.peaks[i].claim < 0 {
			continue
		}
		if n == len(v.claims) {
			v.claims = append(v.claims, -1)
		}
		same = same && v.claims[n] == i
		v.claims[n] = i
		n++
	}
	same = same && n == len(v.claims)
	v.claims = v.claims[:n]
	return !same
}

// again looks for string i among the peaks that none of the strings that are sure to sound explains, now that
// these are fitted, and reports whether it has found a place elsewhere than where the string was tried.
func (r *Reader) again(i int) bool {
	r.explain(i, i, ownPeak)
	v := &r.voices[i]
	if !r.place(i, false) || math.Abs(v.tryF1-v.first)*r.fit.seconds <= elsewhere {
		return false
	}
	v.first, v.firstB, v.firstSigma, v.firstSigmaB = v.tryF1, v.tryB, v.trySigma, v.trySigmaB
	return true
}

// explain marks the peaks that the fitted partials of all strings but two explain, as near to them as that (skirtHz).
func (r *Reader) explain(but, or int, near float64) {
	for j := range r.spectrum.peaks {
		r.spectrum.peaks[j].claim = -1
	}
	for _, a := range r.fit.active {
		if p := &r.fit.partials[a]; p.voice != but && p.voice != or {
			r.spectrum.explain(p.hz, near)
		}
	}
}

// explain marks the peak that a partial at hz explains, if there is one so near (skirtHz).
func (s *spectrum) explain(hz, near float64) {
	if at := s.near(hz); at != nil && math.Abs(at.hz-hz) < near*s.skirtHz {
		at.claim = explained
	}
}

// place looks for string i among the peaks that are not explained and, if it is found, sets where it is to be tried.
// One that is known to sound may have its lowest partials in the peaks of others.
func (r *Reader) place(i int, sounds bool) bool {
	v := &r.voices[i]
	old := *v
	found := v.find(r.spectrum) && (sounds && !v.strayed() || v.candidate)
	old.tryF1, old.tryB, old.trySigma, old.trySigmaB = v.f1, v.b, v.sigma, v.sigmaB
	*v = old
	return found
}

// mark claims the peaks that string i explains.
func (r *Reader) mark(i int) {
	v := &r.voices[i]
	for k := 1; k <= v.partials; k++ {
		hz := stiffstring.PartialHz(v.f1, v.b, k)
		if p := r.spectrum.near(hz); p != nil && math.Abs(p.hz-hz) < 0.4*r.spectrum.skirtHz {
			p.claim = i
		}
	}
}

// find looks for the offset and inharmonicity whose partials meet the most peaks, and reports whether they meet any.
// The string may sound if enough of the lowest do.
func (v *voice) find(s *spectrum) bool {
	var best, cents, b float64
	for _, tryB := range searchB {
		tryB *= v.meanOfB
		if v.known {
			tryB = v.meanOfB
		}
		for c := -searchCents - searchStep; c <= searchCents+searchStep; c += searchStep {
			if score := v.score(s, v.target*math.Exp(c/stiffstring.CentsPerNeper), tryB); score > best {
				best, cents, b = score, c, tryB
			}
		}
	}
	v.candidate = false
	if best <= 0 {
		return false
	}
	v.f1, v.b = v.target*math.Exp(cents/stiffstring.CentsPerNeper), b
	for range 3 {
		v.polish(s)
	}
	v.candidate = !v.strayed() && v.supported(s)
	return true
}

// meeting returns how well a partial expected at hz meets peak p, 0 to 1, and the peak's weight.
func (s *spectrum) meeting(p *peak, hz float64) float64 {
	if p == nil || p.claim == explained {
		return 0
	}
	weight := 1 + (p.db-s.loudest)/levelRange
	if weight <= 0 {
		return 0
	}
	if p.claim >= 0 {
		weight *= sharedWeight
	}
	d := (p.hz - hz) / (0.35*s.skirtHz + 1.5/stiffstring.CentsPerNeper*hz)
	if d*d > 9 {
		return 0
	}
	return weight * math.Exp(-d*d)
}

// score returns how well a string of f1 and b explains the peaks.
func (v *voice) score(s *spectrum, f1, b float64) float64 {
	sum := -v.oddB(b)
	for k := 1; k <= min(searchPartials, v.partials); k++ {
		hz := stiffstring.PartialHz(f1, b, k)
		sum += s.meeting(s.near(hz), hz) / (1 + 0.15*float64(k-1))
	}
	return sum
}

// polish fits f1 and b to the peaks that the partials meet, by weighted least squares.
func (v *voice) polish(s *spectrum) {
	var a11, a12, a22, b1, b2 float64
	for k := 1; k <= min(searchPartials, v.partials); k++ {
		hz := stiffstring.PartialHz(v.f1, v.b, k)
		p := s.near(hz)
		w := s.meeting(p, hz)
		if w < 0.02 {
			continue
		}
		sigma := stiffstring.CentsPerNeper*0.1*s.skirtHz/hz + 0.5*stiffstring.ScatterWidth(k)
		w /= sigma * sigma
		slope, y := stiffstring.CentsByB(v.b, float64(k)), stiffstring.CentsPerNeper*math.Log(p.hz/hz)
		a11 += w
		a12 += w * slope
		a22 += w * slope * slope
		b1 += w * y
		b2 += w * slope * y
	}
	p := 1 / (v.sigmaOfB * v.sigmaOfB)
	a22 += p
	b2 += p * (v.meanOfB - v.b)
	det := a11*a22 - a12*a12
	if !(det > 0) || a11 == 0 {
		return
	}
	v.f1 *= math.Exp((a22*b1 - a12*b2) / det / stiffstring.CentsPerNeper)
	v.b = math.Max(0, v.b+(a11*b2-a12*b1)/det)
	v.sigma, v.sigmaB = math.Sqrt(a22/det)+0.1, math.Sqrt(a11/det)
}

// supported reports whether enough of the lowest partials meet a peak for the string to be worth
// a fit. Whether it sounds is settled after that.
func (v *voice) supported(s *spectrum) bool {
	met := 0
	tried := min(6, v.partials)
	for k := 1; k <= tried; k++ {
		hz := stiffstring.PartialHz(v.f1, v.b, k)
		if p := s.near(hz); p != nil && p.claim != explained && math.Abs(p.hz-hz) < 0.5*s.skirtHz+3/stiffstring.CentsPerNeper*hz && p.db > s.loudest-levelRange {
			met++
		}
	}
	return met >= min(2, tried)
}
