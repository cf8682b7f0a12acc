package pitch

import "tunerd/internal/pitch/stringfit"

// A State says what the tracker hears.
type State int

const (
	Silent     State = iota // nothing that stands out of the background
	Unsure                  // something sounds, but no pitch can be given (yet): attack, noise, click
	Sounding                // a pitch with its uncertainty
	Inharmonic              // something rings whose partials belong to no string: a bell, a bar, several notes
)

// A Partial is one tracked partial of the sounding note; a Result is what a fit to a window says, a Variance what
// the uncertainty of its pitch is made of.
type (
	Partial  = stringfit.Partial
	Result   = stringfit.Result
	Variance = stringfit.Variance
)

// A Reading is what is known about the sound at one moment.
//
// Its F1Hz is the mean over the latest WindowS or, while a string settles after a pluck, what it settles to
// (glide removed). Its SigmaCents, of a live pitch that swings, admits the swing.
type Reading struct {
	Result // what was fitted; its At is the newest sample used
	State  State
	Onset  int64 // sample index of the onset of this note; meaningful unless Silent

	AttackF1Hz float64 // F1Hz over the first 150 ms; 0 until that is known
	LevelDB    float64 // RMS level of the newest hop, dB re full scale
	Refused    string  // of an Unsure or Inharmonic reading: why what sounds is not taken for a note
	NewOnset   bool    // this is the first reading of a new note
	AfterGap   bool    // samples were lost just before this reading; tracking has begun afresh
}

// A Note is one whole note of a recording, given once when it has ended.
type Note struct {
	Reading          // the settled pitch, or that of the wanted window
	Start, End int64 // sample indexes of onset and end

	Doubt string // in words, why its pitch is worth less than that of a fit to the whole note; empty: it is not
}
