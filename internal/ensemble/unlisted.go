package ensemble

import (
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// What shows that a string sounds that is not listed: a peak that no string explains with its multiples.
const (
	unlistedPartials = 6    // are looked at
	metPeaks         = 5    // of them at least meet a peak: one may lie near a node of the pluck
	ownPeaks         = 3    // and so many that no listed string explains, the lowest among them
	firstRange       = 15.0 // dB below the loudest of these that the lowest is at most: a difference tone lies lower
	unlistedLoudest  = 20.0 // dB below the loudest peak of all that one of them is at most
	unlistedRange    = 30.0 // and each of them
	besidePeak       = 0.5  // in skirtHz: what lies so near to a listed string's partial may be that
	differenceDown   = 6.0  // dB below the loudest peak of all that a difference tone lies at least
	lowestUnlisted   = 25.0 // Hz
	sameUnlisted     = 15.0 // cents: readings nearer to each other are of one string
	mostUnlisted     = 4
)

// findUnlisted sets unlisted to partial 1 (Hz) of strings that sound and are not listed, the lowest first. Those whose
// first partial is loudest are found first. A string whose partials are nearly all those of listed ones cannot be told.
func (r *Reader) findUnlisted() {
	r.unlisted = r.unlisted[:0]
	r.explain(-1, -1, besidePeak)
	s := r.spectrum
	for len(r.unlisted) < mostUnlisted {
		var first *peak
		for i := range s.peaks {
			p := &s.peaks[i]
			if p.claim != explained && p.hz >= lowestUnlisted && (first == nil || p.db > first.db) && !r.listed(p.hz) && !r.difference(p) && s.series(p) {
				first = p
			}
		}
		if first == nil {
			break
		}
		r.unlisted = append(r.unlisted, first.hz)
		for k := 1; float64(k)*first.hz < s.top; k++ {
			s.explain(float64(k)*first.hz, besidePeak)
		}
		first.claim = explained
	}
	slices.Sort(r.unlisted)
}

// listed reports whether a listed string is looked for at hz.
func (r *Reader) listed(hz float64) bool {
	for i := range r.voices {
		if math.Abs(stiffstring.Cents(hz, r.voices[i].target)) < searchCents+strayCents {
			return true
		}
	}
	return false
}

// difference reports whether a peak may be what an overdriven microphone adds to the sound of two strings.
func (r *Reader) difference(p *peak) bool {
	if p.db > r.spectrum.loudest-differenceDown {
		return false
	}
	for i := range r.voices {
		for j := range r.voices {
			high, low := &r.voices[i], &r.voices[j]
			if high.candidate && low.candidate && math.Abs(high.f1-low.f1-p.hz) < besidePeak*r.spectrum.skirtHz {
				return true
			}
		}
	}
	return false
}

// series reports whether a peak with its multiples is heard as a string is, and is not itself a multiple of one that
// nothing explains.
func (s *spectrum) series(first *peak) bool {
	for k := 2; k <= ownPeaks; k++ {
		at := first.hz / float64(k)
		if p := s.near(at); p != nil && p.claim != explained && p.db > s.loudest-unlistedRange && math.Abs(p.hz-at) < besidePeak*s.skirtHz {
			return false
		}
	}
	met, own, loudest := 0, 0, math.Inf(-1)
	for k := 1; k <= unlistedPartials; k++ {
		at := float64(k) * first.hz
		p := s.near(at)
		if p == nil || p.db < s.loudest-unlistedRange || math.Abs(p.hz-at) > besidePeak*s.skirtHz+3/stiffstring.CentsPerNeper*at {
			continue
		}
		met++
		if p.claim != explained {
			own++
			loudest = math.Max(loudest, p.db)
		}
	}
	return met >= metPeaks && own >= ownPeaks && loudest > s.loudest-unlistedLoudest && first.db > loudest-firstRange
}

// An unlistedSum gathers the readings of one string that is not listed over the windows of a chord.
type unlistedSum struct {
	hz    float64
	count int
}

// addUnlisted takes the unlisted strings of one window.
func (t *Tracker) addUnlisted(hz []float64) {
	t.windows++
	for _, f := range hz {
		at := slices.IndexFunc(t.unlisted, func(u unlistedSum) bool { return math.Abs(stiffstring.Cents(u.hz, f)) < sameUnlisted })
		if at < 0 {
			t.unlisted = append(t.unlisted, unlistedSum{hz: f, count: 1})
			continue
		}
		u := &t.unlisted[at]
		u.hz = (u.hz*float64(u.count) + f) / float64(u.count+1)
		u.count++
	}
}

// combinedUnlisted sets those of the whole chord: strings that are heard in half of its windows or more.
func (t *Tracker) combinedUnlisted() {
	t.chord.Unlisted = t.chord.Unlisted[:0]
	for _, u := range t.unlisted {
		if 2*u.count >= t.windows {
			t.chord.Unlisted = append(t.chord.Unlisted, u.hz)
		}
	}
	slices.Sort(t.chord.Unlisted)
}
