package pitch

import (
	"tunerd/internal/pitch/accept"
	"tunerd/internal/pitch/acquire"
	"tunerd/internal/pitch/stringfit"
)

// An inharmonicSound has partials that belong to no string: a bell, a bar, several notes. What tells it from hum
// is that it fades. It counts as one as long as it does, and as long as its partials are louder than all else.
type inharmonicSound struct {
	peaks  []stringfit.Partial // its partials when last looked for, which have no number; none: it is no such sound
	least  float64             // lowest power of them so far; 0: they were not looked for yet
	fellAt int64               // index at which it was seen to fall to that; 0: it has not fallen
	quiet  float64             // lowest mean square of the sound so far
}

const (
	inharmonicPeaks  = 3     // partials that it begins with
	inharmonicShare  = 0.8   // of the power of the sound that is in them then
	sunkShare        = 0.5   // and when it has sunk into the background
	inharmonicProbeS = 0.085 // s from search to search
	fallDB           = 0.3   // by how much it must fall to be said to fade
	fadeS            = 1.0   // s in which it does, beats or not
	swellsRatio      = 6.0   // power over the lowest so far at which something else sounds: 8 dB
)

// findPeaks finds the peaks of the latest sound, if so many of them or more hold the given share of its power.
func (t *Tracker) findPeaks(share float64, least int) {
	r := &t.ring
	n := int64(acquire.WindowS * t.fs)
	r.peaks = r.peaks[:0]
	peaks, held := t.search.Ladder.StrongPeaks(t.past.From(t.next-n, t.next), t.fs)
	if held < share || len(peaks) < least {
		return
	}
	power := 0.0
	for _, p := range peaks {
		// A Hann window twice its usual height: a peak of the spectrum is half the amplitude times n.
		a := 2 * p.Weight / float64(n)
		power += a * a
		r.peaks = append(r.peaks, stringfit.Partial{Hz: p.Hz, LevelDB: 2 * stringfit.DB(a)})
	}
	switch {
	case r.least == 0:
		r.least, r.quiet = power, t.power
	case power < r.least*stringfit.PowerOf(-fallDB):
		r.least, r.fellAt = power, t.next
	}
}

// findBeside finds what sounds beside the note r of the latest window seconds, where it leaves much of that, and gives
// the verdict whether r stands beside it.
func (t *Tracker) findBeside(r *stringfit.Result, window float64) accept.Verdict {
	if v := accept.JudgeSame(r, t.goesOnHz); !v.OK {
		return v
	}
	if !acquire.Long(window) || !accept.MayBePartOf(r) {
		return accept.Verdict{OK: true}
	}
	t.findPeaks(inharmonicShare, inharmonicPeaks)
	return accept.JudgeBeside(r, t.ring.peaks)
}

// fades reports whether the sound rings and has fallen of late.
func (t *Tracker) fades() bool {
	r := &t.ring
	return len(r.peaks) > 0 && r.fellAt > 0 && float64(t.next-r.fellAt) < fadeS*t.fs
}

// followInharmonic sees the end of a sound that rings, or that another takes its place.
func (t *Tracker) followInharmonic() {
	r := &t.ring
	r.quiet = min(r.quiet, t.power)
	if t.power > swellsRatio*r.quiet {
		t.begin(t.next, false)
		return
	}
	if t.next >= t.nextTry {
		t.nextTry = t.next + int64(inharmonicProbeS*t.fs)
		t.findPeaks(sunkShare, 1)
	}
	if !t.fades() || t.power < sunkRatio*t.levels.Floor {
		t.background()
	}
}

// background takes the present sound for background and waits for the next one.
func (t *Tracker) background() {
	t.levels.TakeForBackground()
	t.state = waits(&t.state)
}
