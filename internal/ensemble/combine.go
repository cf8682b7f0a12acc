package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A sum gathers the readings of one string over the windows of a chord.
type sum struct {
	sounding, hidden, windows int
	weight                    float64
	cents, cents2, variance   float64 // weighted sums
	last                      StringReading
	best                      StringReading
	lastAt                    int64 // sample index of the end of last, if it sounds
}

// fadedDB is the level over the noise that a string has at least where it can be told: it has died away in windows in
// which it would be below that, by the rate at which it was dying away.
const fadedDB = 20.0

// faded reports whether the string has died away since it was heard last, as it did then.
func (s *sum) faded(at int64, sampleRate float64) bool {
	const dBPerNeper = 20 / math.Ln10
	return s.sounding > 0 && s.last.Sounding && s.last.SNRdB > fadedDB && s.last.SNRdB-dBPerNeper*s.last.decay*float64(at-s.lastAt)/sampleRate < fadedDB
}

// add takes the readings of one window.
func (t *Tracker) add(strings []StringReading) {
	t.addUnlisted(t.reader.unlisted)
	for i, r := range strings {
		s := &t.all[i]
		if !r.Sounding && s.faded(t.chord.At, t.cfg.SampleRate) {
			continue
		}
		s.windows++
		if r.Hidden {
			s.hidden++
			s.last = r
		}
		if !r.Sounding {
			continue
		}
		s.sounding++
		s.last, s.lastAt = r, t.chord.At
		w := 1 / sq(r.SigmaCents)
		s.weight += w
		s.cents += w * r.Cents
		s.cents2 += w * r.Cents * r.Cents
		s.variance += w * sq(r.SigmaCents)
		if s.sounding == 1 || r.SigmaCents < s.best.SigmaCents {
			s.best = r
		}
	}
}

// combined returns the readings of the whole chord: for each string the weighted mean over the
// windows in which it is heard, if these are a third or more of those before it has died away: in one window a string that
// is silent is hardly ever taken for sounding, but a sounding one may well be missed. The windows overlap and share
// the strings' own irregularities, so that the mean is held to be no surer than one reading, and
// less so when they differ.
func (t *Tracker) combined() []StringReading {
	out := t.reader.out
	for i := range out {
		s := &t.all[i]
		switch {
		case s.sounding > 0 && 3*s.sounding >= s.windows:
			out[i] = s.best
			mean := s.cents / s.weight
			spread := math.Max(0, s.cents2/s.weight-mean*mean)
			out[i].Cents = mean
			out[i].F1Hz = out[i].String.Hz * math.Exp(mean/stiffstring.CentsPerNeper)
			out[i].SigmaCents = math.Sqrt(s.variance/s.weight + spread)
		case s.hidden+s.sounding > 0 && 3*(s.hidden+s.sounding) >= s.windows:
			out[i] = s.last
			if s.hidden == 0 {
				out[i] = s.best
				out[i].SigmaCents = unseparated(s.best.F1Hz, t.chord.WindowS)
			}
			out[i].Sounding, out[i].Hidden = false, true
		default:
			out[i] = StringReading{String: t.cfg.Strings[i]}
		}
	}
	return out
}
