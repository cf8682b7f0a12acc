package text

import "tunerd/internal/display"

// A Note is one note of a recording, to be written. A number that is not known is NaN;
// AttackF1Hz and Partial1Hz may also be 0.
type Note struct {
	File    string
	Channel int     // 0: the mean of all
	StartS  float64 // onset, s from the start of the recording
	EndS    float64

	F1Hz          float64            // partial 1 under the fitted stiff-string law, settled
	F1SigmaCents  float64            // its standard uncertainty
	SigmaTerms    display.SigmaTerms // what that is made of
	AttackF1Hz    float64            // the same over the first 150 ms
	Partial1Hz    float64            // the lowest partial as measured
	Inharmonicity float64            // B of f_k = k·f0·√(1 + B·k²)
	SNRdB         float64
	Clock         display.Clock // correction that the frequencies have
	Doubt         string        // in words, why the pitch is worth less than that of a fit to the whole note; empty: it is not

	Target     *display.Target // nil: there is none, and the fields below mean nothing
	Cents      float64         // F1Hz against the target; positive is sharp
	CentsSigma float64         // standard uncertainty of Cents
	BeatHz     float64         // F1Hz - Target.Hz
	State      string          // "flat", "sharp", "in tune" or "unsure"; more in docs/formats.md

	Standing   display.Standing // to the string that is held
	Seems      display.Target   // open string that it seems to be while Doubted; String 0: none
	SeemsCents float64

	Partials []Partial // nil: not asked for
}

// A Partial is one tracked partial of a note.
type Partial struct {
	Number     int // from 1
	Hz         float64
	OffCents   float64 // against the fitted law
	SigmaCents float64 // standard uncertainty of Hz
	LevelDB    float64 // dB re full scale
}

// A NoteWriter writes notes in one of the formats. It keeps neither the note nor its slices.
// Flush writes what has been held back; without it a table stays empty.
type NoteWriter interface {
	WriteNote(n *Note) error
	Flush() error
}
