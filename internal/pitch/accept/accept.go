// Package accept decides what is a note: a result of a fit and the stage that it is for go in, a verdict with its
// reason comes out. Nothing here changes anything.
package accept

import (
	"math"

	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// Thresholds. Where no other origin is given, they were set on the recordings in testdata/wav and the
// synthetic strings of the accuracy tables (cells B0 to A4, 100 and 200 ms, 10 to 40 dB), so that none of
// them is refused and no noise is taken for a note.
const (
	// How far (dB) what a fit explains must stand above the rest of the sound:
	ClearSNR     = 20 // to begin a note at an onset that another followed: a touch before the pluck explains nothing
	ExplainedSNR = 20 // for another octave to be out of the question
	TrustedSNR   = stringfit.TrustedSNR
	lowestSNR    = 8  // for a note whose lowest partial is heard to be one on that evidence alone
	EvidentSNR   = 3  // for a note of several partials, or one sharp one
	faintSNR     = -4 // for a note to begin

	// Partials that keep to the law, of those placed so well that chance would seldom put them there:
	keptCents    = 3.0 // from the law at most, and two standard errors
	keptEvident  = 3   // that are enough for an evident note
	keptBeside   = 4   // that are enough beside any noise, if the pitch is known to keptSigma
	keptSigma    = 5.0 // cents
	keptSharp    = 0.7 // cents, to which three are enough
	sharpMargin  = 10  // dB of the lowest over what would just be heard, for a note beside much else: the two or three strings of a piano's key, as long as they are told apart, do not reach it
	sharpSigma   = 3.0 // cents, of an evident note of one such partial
	faintSigma   = 1.0 // cents, of any such note
	faintWindowS = 0.07

	// Odds of a string (nepers), where its lowest partial is not heard:
	newOdds   = -1.0 // to begin a note
	faintOdds = 3.0  // to begin one that explains little of the sound
	heldOdds  = -4.0 // to go on with a note

	// Stiffness, in standard deviations:
	stiffPrior = 4.0  // of the prior above its mean
	stiffError = 3.0  // of the measurement
	limpB      = 1e-5 // by how much B may be below 0 beside that: rounding

	// Another number for every partial: power beside the multiples, as a part of theirs.
	besideMultiples = 3e-3
	besideExpected  = 0.03 // of a note that is expected, by the second or third partial

	// One explanation against another:
	muchBetter  = 12.0 // dB with any partials
	clearlyMore = 3.0  // dB with about as many
	fewerAtMost = 4    // that is: fewer by less than so many
	moreAtLeast = 4    // partials more that chance does not bring
	worseAtMost = 15.0 // dB, with so many more

	// A note beside a sound that rings without belonging to a string:
	besideSNR     = 6.0  // dB over the rest from which a note is one whatever rings
	closeCents    = 1.0  // from the law to a partial that keeps closely to it
	closePartials = 4    // such ones that are beyond doubt those of a string
	strangeCents  = 20.0 // from a partial of the note to one that is not its own
	strangeShare  = 0.1  // of the power of the partials that is in such ones

	// An expected pitch, in cents: how far off a string being tuned is (one standard deviation), and how far it
	// may be and still be taken for the expected one without a search.
	ExpectSigma = 20.0
	expectLimit = 60.0
	// highest multiple of it that may sound in its place: an octave, or a twelfth
	expectedTimes = 3

	sameCents = 60.0 // from the pitch of a note that was lost to what it may be found at again

	// Mains hum:
	mainsCents = 10 // about half of 50 or 60 Hz, or a multiple of them
	// highest multiple: hum has the comb of the mains or of its rectified wave; a steady note of 150 Hz or more has its own
	mainsMost = 2
)

// mainsHz are the frequencies of the mains (IEC 60038).
var mainsHz = [...]float64{50, 60}

// A Verdict says whether something is accepted, and if not, why.
type Verdict struct {
	OK     bool
	Reason string // in words; empty if it is accepted
}

var accepted = Verdict{OK: true}

func refused(reason string) Verdict { return Verdict{Reason: reason} }

// A Stage says what a result is asked for.
type Stage int

const (
	StageHeard  Stage = iota // whether anything with partials is heard at all
	StageHeld                // whether a note goes on, or a window holds one
	StageBegins              // whether a note begins
)

// Judge says whether r is a note, rather than something in the noise or partials that belong to no string:
// either it explains the sound well, or several partials keep to the law, or the lowest is sharp although much
// else (thump, rumble) sounds with it. From StageHeld on its partials must have numbers that can be believed and
// a string must be able to be so stiff.
func Judge(r *stringfit.Result, s Stage) Verdict {
	v := judgeHeard(r)
	if !v.OK || s == StageHeard {
		return v
	}
	if v := JudgeNumbers(r, s); !v.OK {
		return v
	}
	return judgeStiffness(r)
}

func judgeHeard(r *stringfit.Result) Verdict {
	if len(r.Partials) == 0 {
		return refused("no partial stands out of the noise")
	}
	kept := kept(r)
	lowest := r.Partials[0].N == 1
	sharp := lowest && r.Partials[0].Margin > sharpMargin
	switch {
	case r.SNRdB > TrustedSNR, r.SNRdB > lowestSNR && lowest:
		return accepted
	case r.SNRdB > EvidentSNR && (kept >= keptEvident || sharp && r.SigmaCents < sharpSigma):
		return accepted
	case kept >= keptBeside && r.SigmaCents < keptSigma, kept >= keptEvident && r.SigmaCents < keptSharp:
		return accepted
	case r.SNRdB > faintSNR && sharp && r.SigmaCents < faintSigma && r.WindowS > faintWindowS:
		return accepted
	}
	return refused("it explains too little of the sound, and too few partials keep to a law")
}

// JudgeNumbers says whether the numbers of the partials can be believed. Where the lowest is heard they are not
// in doubt; else other things might ring so too.
func JudgeNumbers(r *stringfit.Result, s Stage) Verdict {
	loudest := r.Loudest()
	switch {
	case math.Abs(loudest.OffCents) > stringfit.FurthestOff+2*loudest.SigmaCents:
		return refused("the loudest partial is too far off the law")
	case s == StageBegins && r.SNRdB < faintSNR:
		return refused("it is too faint for a new note")
	case r.LowestHeard():
		return accepted
	}
	least := newOdds
	switch {
	case s != StageBegins:
		least = heldOdds
	case r.SNRdB < EvidentSNR:
		least = faintOdds
	}
	if r.Odds > least {
		return accepted
	}
	return refused("its lowest partial is not heard, and the others may belong to no string")
}

func judgeStiffness(r *stringfit.Result) Verdict {
	p := stiffstring.StiffnessPrior(r.F1Hz)
	switch {
	case !(r.B > -stiffError*r.BSigma-limpB):
		return refused("its partials lie closer than those of any string")
	case !(r.B < p.Mean+stiffPrior*p.Sigma+stiffError*r.BSigma):
		return refused("no string of that pitch is so stiff")
	}
	return accepted
}

// kept returns how many partials keep to the law as those of strings do, where chance would seldom have
// them do so.
func kept(r *stringfit.Result) int {
	n := 0
	for i := range r.Partials {
		if p := &r.Partials[i]; math.Abs(p.OffCents) < keptCents+2*p.SigmaCents && p.Placed() {
			n++
		}
	}
	return n
}

// Higher returns the note that r really is, if all that is heard lies on the partials that are multiples of
// a number up to most: one that many times as high.
func Higher(r *stringfit.Result, most int) (stringfit.Start, bool) {
	return above(r, besideMultiples, most)
}

// above is Higher, where the other partials have less than a given part of the power of those.
func above(r *stringfit.Result, part float64, most int) (stringfit.Start, bool) {
	for times := most; times > 1; times-- {
		var on, beside float64
		for i := range r.Partials {
			p := stringfit.PowerOf(r.Partials[i].LevelDB)
			if r.Partials[i].N%times == 0 {
				on += p
			} else {
				beside += p
			}
		}
		if on > 0 && beside < part*on {
			k := stringfit.Guess(stiffstring.PartialHz(r.F1Hz, r.B, times), higherSigma)
			k.B = max(0, r.B) * float64(times*times)
			return k, true
		}
	}
	return stringfit.Start{}, false
}

// higherSigma is how well (cents) a note tells the pitch of one that is a multiple of it.
const higherSigma = 5

// Better reports whether r explains a sound clearly better than other does: more of it or, with
// much else sounding, many more partials that keep to a law, which chance does not do.
func Better(r *stringfit.Result, other *stringfit.Result) bool {
	more := len(r.Partials) - len(other.Partials)
	gain := r.SNRdB - other.SNRdB
	return gain > muchBetter || gain > clearlyMore && more > -fewerAtMost || gain > -worseAtMost && more >= moreAtLeast
}

// JudgeExpected says whether r is the note that is expected at hz, without doubt, and none an octave or a twelfth
// above. A brief window leaves more to what was expected, so it must show more.
func JudgeExpected(r *stringfit.Result, hz float64, brief bool) Verdict {
	if _, higher := above(r, besideExpected, expectedTimes); higher {
		return refused("it is a note above the one that is expected")
	}
	off := math.Abs(stiffstring.Cents(r.F1Hz, hz))
	switch {
	case brief && !(off < 2*ExpectSigma && r.SigmaCents < ExpectSigma/2):
		return refused("so short a window does not show that it is the note that is expected")
	case !brief && !(off < expectLimit):
		return refused("it is not the note that is expected")
	}
	return accepted
}

// JudgeSame says whether r may be the note at hz that was lost a moment ago; 0: there was none.
func JudgeSame(r *stringfit.Result, hz float64) Verdict {
	if hz > 0 && !(math.Abs(stiffstring.Cents(r.F1Hz, hz)) < sameCents) {
		return refused("it is not the note that sounded until now")
	}
	return accepted
}

// MayBePartOf reports whether r may be part of what rings: beyond doubt, it is not.
func MayBePartOf(r *stringfit.Result) bool {
	return !(r.SNRdB > besideSNR || closeToLaw(r) >= closePartials)
}

// JudgeBeside says whether the note r is one although it leaves much of a sound that rings: not if too much of
// that is in partials that are not its own. Others ring with it, or what looks like a string is a few of the
// partials of a bell.
func JudgeBeside(r *stringfit.Result, peaks []stringfit.Partial) Verdict {
	var strange, all float64
	for _, p := range peaks {
		power := stringfit.PowerOf(p.LevelDB)
		all += power
		if !owns(r, p.Hz) {
			strange += power
		}
	}
	if strange > strangeShare*all {
		return refused("too much rings beside it that is not its own")
	}
	return accepted
}

// closeToLaw returns how many partials keep to the law as closely as only those of a string do.
func closeToLaw(r *stringfit.Result) int {
	n := 0
	for _, p := range r.Partials {
		if math.Abs(p.OffCents)+p.SigmaCents < closeCents {
			n++
		}
	}
	return n
}

// owns reports whether a partial of the note may lie at hz, as far as its stiffness is known.
func owns(r *stringfit.Result, hz float64) bool {
	n, off := stiffstring.Nearest(hz, r.F1Hz, r.B)
	if n == 0 {
		return false
	}
	slope := stiffstring.PartialHzByB(r.F1Hz, r.B, n) / stiffstring.PartialHz(r.F1Hz, r.B, n) * stiffstring.CentsPerNeper
	return math.Abs(off) < strangeCents+stiffError*slope*r.BSigma
}

// Mains reports whether f1 lies near 50 or 60 Hz, twice or half of them.
func Mains(f1 float64) bool { return nearMains(f1, mainsCents) }

func nearMains(f1, cents float64) bool {
	for _, mains := range mainsHz {
		half := mains / 2
		k := math.Round(f1 / half)
		if (k == 1 || k <= 2*mainsMost && math.Mod(k, 2) == 0) && math.Abs(stiffstring.Cents(f1, k*half)) < cents {
			return true
		}
	}
	return false
}

// Driven reports whether r may lie on the mains, as far as its pitch is known.
func Driven(r *stringfit.Result) bool { return nearMains(r.F1Hz, mainsCents+2*r.SigmaCents) }

// Accepts reports whether a fit has found a note that may go on.
func Accepts(r *stringfit.Result) bool { return Judge(r, StageHeld).OK }
