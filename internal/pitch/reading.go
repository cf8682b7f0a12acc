package pitch

// A State says what the tracker hears.
type State int

const (
	Silent     State = iota // nothing that stands out of the background
	Unsure                  // something sounds, but no pitch can be given (yet): attack, noise, click
	Sounding                // a pitch with its uncertainty
	Inharmonic              // something rings whose partials belong to no string: a bell, a bar, several notes
)

// A Partial is one tracked partial of the sounding note.
type Partial struct {
	N          int     // 1 is the lowest of the stiff-string series; 0 in an Inharmonic reading
	Hz         float64 // as measured
	OffCents   float64 // measured against the fitted law of the whole note
	SigmaCents float64 // standard uncertainty of Hz, in cents
	LevelDB    float64 // peak amplitude, dB re full scale
	PhaseTurns float64 // absolute phase of the partial at sample Reading.At, in turns [0, 1)

	margin float64 // dB by which it is louder than what would just be heard
}

// A Reading is what is known about the sound at one moment.
type Reading struct {
	At    int64 // sample index that the reading refers to: the newest sample used
	State State
	Onset int64 // sample index of the onset of this note; meaningful unless Silent

	// F1Hz is the frequency of partial 1 under the fitted law: its mean over the latest WindowS or, while
	// a string settles after a pluck, what it settles to (glide removed).
	F1Hz       float64
	SigmaCents float64 // standard uncertainty of F1Hz, in cents; of a live pitch that swings, it admits the swing
	AttackF1Hz float64 // the same over the first 150 ms; 0 until that is known
	Partial1Hz float64 // the lowest partial as measured; 0 if it is not heard
	B          float64 // inharmonicity: f_k = k·f0·sqrt(1+B·k²)
	BSigma     float64
	SNRdB      float64 // power of the partials over the residual in the whole band
	LevelDB    float64 // RMS level of the newest hop, dB re full scale
	WindowS    float64 // length of the sound that the pitch was fitted to, s
	Partials   []Partial
	NewOnset   bool // this is the first reading of a new note
	AfterGap   bool // samples were lost just before this reading; tracking has begun afresh

	odds float64 // [nepers] of a string against peaks that lie anywhere, where the lowest partial is not heard
	rest float64 // mean square of what the fit did not explain
}

// A Note is one whole note of a recording, given once when it has ended.
type Note struct {
	Reading          // the settled pitch, or that of the wanted window
	Start, End int64 // sample indexes of onset and end
}
