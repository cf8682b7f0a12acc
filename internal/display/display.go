// Package display defines what a player sees at one instant: the Frame that every view
// (terminal, lines of text, JSON) draws from. It computes nothing.
package display

import "time"

// State is what the whole tuner hears and does.
type State string

const (
	Silent   State = "silent"        // nothing sounds
	Unsure   State = "listening"     // something sounds, no pitch yet
	Sounding State = "sounding"      // a pitch
	Several  State = "several notes" // more than one pitch where one is expected
	Lost     State = "input lost"    // the device is gone; waiting for it
	Ended    State = "input ended"   // a recording or pipe has ended
)

// A Target is what the pitch is compared with.
type Target struct {
	Label  string  `json:"label"`
	Hz     float64 `json:"hz"`
	Step   int     `json:"step"`             // steps of the tuning from its reference note
	String int     `json:"string,omitempty"` // 1 is the string that the instrument lists first; 0: none
	Fret   int     `json:"fret"`             // 0 is the open string
}

// A Standing says how what sounds stands to the string that is held.
type Standing string

const (
	NotHeld   Standing = ""          // no string is held
	Taken     Standing = "taken"     // it lies near the held string and is taken for it
	Doubted   Standing = "doubted"   // it does not seem to be the held string: nothing is to be tuned by it
	Confirmed Standing = "confirmed" // nor did it, but the user said that it is
	Moving    Standing = "moving"    // nor did it, but it has moved towards the target
)

// Settling is the verdict on a note whose uncertainty leaves open how it lies.
const Settling = "settling"

// Rows says what the bands of the strobe are compared with.
type Rows string

const (
	// StringRows: partial k of a string in tune that is as stiff as the one that sounds. All bands rest
	// when the string is in tune.
	StringRows Rows = "string"
	// HarmonicRows: k times the target. The bands of a stiff string in tune drift, all but the first.
	HarmonicRows Rows = "harmonics"
)

// A Band is one stripe of the strobe: one partial against what Frame.Rows says.
type Band struct {
	Partial    int
	TargetHz   float64 // what it is compared with; 0 unless Clear
	PhaseTurns float64 // pattern position at Frame.TimeS, in turns [0, 1); grows when sharp
	DriftHz    float64 // turns a second: measured partial minus TargetHz; positive is sharp
	LevelDB    float64 // dB re full scale
	Clear      bool    // the partial stands out of the noise, so the phase means something
}

// A Now is what a string is to be tuned to now, so that those turned after it pull it to its target.
type Now struct {
	Hz    float64 // 0: there is no such advice
	Cents float64 // against the target
}

// A Pass is how far the tuning of strings that pull on each other has come.
type Pass struct {
	Number int    // grows with every advice; 0: nothing is known of coupling
	Phase  string // of coupling.Phase
	Next   int    // string to be turned next, from 1; 0: none
	Left   int    // strings still to be turned
	Words  string // what to do, in a sentence
}

// A StringRow is one string of the instrument and the last reading of it.
type StringRow struct {
	Number   int // from 1
	Label    string
	TargetHz float64
	Read     bool // a reading exists
	Cents    float64
	Sigma    float64
	AtS      float64 // stream time of the last reading, s
	Active   bool    // sounding now
	Held     bool    // the user holds this string

	// Of the last reading where all strings are read at once. Verdict may also be "silent" or
	// "hidden" then.
	F1Hz, Partial1Hz, BeatHz float64
	Inharmonicity, SNRdB     float64
	Verdict                  string
	Hidden                   bool // whatever could be heard of it coincides with other strings

	// Where strings pull on each other, see Frame.Pass:
	Now           Now
	Turn          int     // its place in the order of turning, from 1; 0: it is to be left alone
	ForecastCents float64 // of it after this pass
	ForecastSigma float64 // 0: there is no forecast
	Hear          bool    // it is to be heard before there is more advice
}

// A Clock is the correction of the sound card's clock that the readings have.
type Clock struct {
	PPM      float64 // rate error of the card; positive: it is fast
	SigmaPPM float64 // standard uncertainty; 0: not known
	By       string  // how that was found: "tone", "system clock", "given"; empty: nothing is corrected
}

// A Frame is everything to be shown at one instant.
type Frame struct {
	TimeS      float64 // stream time, s
	State      State
	Rings      bool   // what sounds has partials that belong to no single string
	Message    string // a sentence for the user: device lost, gap, demo scene; empty most of the time
	Input      string // name of the source
	Clock      Clock
	Tuning     string // name of the tuning
	Instrument string // name of the instrument, empty without one
	Reference  string // such as "A4=440 Hz"

	F1Hz, SigmaCents float64
	SigmaTerms       SigmaTerms
	AttackF1Hz       float64 // 0: not known
	Partial1Hz       float64 // 0: not heard
	Inharmonicity    float64
	SNRdB, LevelDB   float64
	OnsetS           float64

	Target     Target
	Cents      float64 // positive is sharp
	BeatHz     float64 // measured minus target, Hz
	Verdict    string  // "flat", "sharp", "in tune", Settling; "other string" or "far off" while Doubted
	Standing   Standing
	Seems      Target  // open string that it seems to be while Doubted; String 0: none is near
	SeemsCents float64 // the pitch against Seems
	Now        Now     // of the string that sounds; the bands are compared with it, if it is there
	NowOff     float64 // cents of the pitch against Now
	NowBeatHz  float64
	NowVerdict string // as Verdict, against Now
	Bands      []Band
	Rows       Rows // what the bands are compared with
	Strings    []StringRow
	AllStrings bool    // all strings are read at once, into Strings; there is no single pitch
	WindowS    float64 // length of the sound that all strings were read from, s

	Beat Beat // of two strings, where that is measured
	Pair Pair // these strings

	Pass Pass // of strings that pull on each other

	Gaps     int // breaks in the input since the start
	NewOnset bool
	AfterGap bool

	Arrived time.Time // when the newest sample came in; zero if none is behind this frame
}

// SigmaTerms is what the uncertainty of a pitch is made of, in cents: their squares add up to that of σ. All are
// 0 where that is not known.
type SigmaTerms struct {
	Noise      float64 // hiss and hum around the partials
	Scatter    float64 // partials of a real string lie off its law
	Stiffness  float64 // B is not known
	Glide      float64 // a pluck may still be settling
	Movement   float64 // the pitch drifts, runs or is being turned
	Vibrato    float64 // it swings
	Unmodelled float64 // what no window of a real string is free of
}
