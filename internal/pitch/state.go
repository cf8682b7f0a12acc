package pitch

import "tunerd/internal/pitch/stringfit"

// A state is where a Tracker is with the present sound, and all that it knows of it: one value. Where something
// else begins, another value takes its place; nothing of it is set back by hand.
type state struct {
	phase     phase
	beginning                 // of the sound, unless waiting
	attempts                  // at a pitch
	ring      inharmonicSound // a sound in which no pitch was found
	noteState                 // while a note sounds
}

// A phase is what kind of state it is.
type phase int

const (
	waiting    phase = iota // nothing sounds
	acquiring               // something sounds, its pitch is sought
	inharmonic              // something rings that has no pitch
	tracking                // a note sounds
)

// A beginning is what is known of a sound from its start.
type beginning struct {
	from    int64   // index at which it began
	plucked bool    // it began with an onset
	doubted bool    // so soon after listening began that it may have been there before
	earlier int64   // index of an onset just before, which may be the true one; 0: none
	peak    float64 // mean square of its loudest hop

	heldUntil int64 // index up to which it has kept a good part of that

	goesOnHz float64 // pitch of the note that was lost in it, the only one that it may be; 0: it is a new sound
}

// attempts are those at finding the pitch of a sound.
type attempts struct {
	tries        int
	nextTry      int64  // index at which the next is due
	nextExpected int64  // index before which the expected pitches are not tried again
	refused      string // why the last candidate was no note
	unison       unison // what was seen of one
}

// A stage is what the pitch of a note does, which says how it is fitted next.
type stage int

const (
	settling stage = iota // plucked not long ago: the pitch may glide
	steady                // it stands still, in a window that grows
	retuned               // it has been moved since the last fit: the string was retuned, or by what is not known
	vibrato               // it swings faster than it can be fitted
)

// moved reports whether the pitch has moved since the last fit, so that what that taught of single partials does
// not hold.
func (s stage) moved() bool { return s == retuned || s == vibrato }

// fitted returns the stage after a fit that succeeded.
func (s stage) fitted() stage {
	if s.moved() {
		return steady
	}
	return s
}

// begins returns the state of a sound that has just begun. Work space goes over from the last state.
func begins(s beginning, last *state) state {
	return state{phase: acquiring, beginning: s, ring: inharmonicSound{peaks: last.ring.peaks[:0]}}
}

// reacquiring returns the state of the same sound, the pitch of which is sought once more.
func (s *state) reacquiring() state {
	return state{phase: acquiring, beginning: s.beginning, ring: s.ring}
}

// rings returns the state of a sound that rings without a pitch.
func (s *state) rings() state {
	return state{phase: inharmonic, beginning: s.beginning, attempts: s.attempts, ring: s.ring}
}

// waits returns the state in which nothing sounds.
func waits(last *state) state { return state{ring: inharmonicSound{peaks: last.ring.peaks[:0]}} }

// sounds returns the state of a note in a sound.
func (s *state) sounds(f noteState) state {
	return state{phase: tracking, beginning: s.beginning, attempts: s.attempts, ring: s.ring, noteState: f}
}

// A noteState is all that is known of the note that sounds, beside its bank: another for each note.
type noteState struct {
	base  stringfit.Result // its reading: that of the last fit, moved along as the string is retuned
	fresh bool             // no reading of this note has been given yet
	stage stage
	lastFit
	fitPlan
	attackPart
	presence
	movement
}

// A lastFit is what is kept of the last fit that succeeded, beside the reading.
type lastFit struct {
	fitted    stringfit.Variance // what it said of the pitch
	fitWindow float64            // [s] length of its window
	runCents  float64            // [cents] that the pitch ran from the middle to the ends of the window
}

// A fitPlan says when the note is fitted next, and to what.
type fitPlan struct {
	nextFit    int64 // index at which that is due
	windowFrom int64 // index since which the string has not been retuned
	failing    int64 // index of the first fit that failed since the last good one; 0: none did
}

// An attackPart is what is known of the first moments of the note.
type attackPart struct {
	attack       float64 // [Hz] its pitch there; 0: not known
	attackBlocks int     // sub-blocks at the beginning of the bank that hold the noise of the attack
	attackWait   float64 // [s] until enough of the note will be left without that noise; 0: it does not disturb
}

// A presence is what says whether the note is still heard, and in the right octave.
type presence struct {
	firstSNR  float64 // [dB] of the first reading
	residual  float64 // mean square of what the last fit, or check, did not explain
	loudAt    int64   // index at which it last stood above the background
	nextCheck int64   // index before which it is not checked again whether it is heard
	checked   bool    // the octave has been checked with a long window
}

// A movement is how the pitch moves between fits, as the phases of the lowest partials show.
type movement struct {
	phases    phaseWatch
	ahead     float64 // [cents] by which the latest tenth of a second lies above the last reading
	swing     float64 // [cents] root mean square by which the pitch has swung lately
	retunedAt int64   // index at which it was last seen to be retuned; 0: never
	fastAt    int64   // index at which it last moved faster than a hand retunes it; 0: never
}
