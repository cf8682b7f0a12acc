package targets

import (
	"fmt"
	"math"
	"strconv"

	"tunerd/internal/strict"
)

// A Target is a pitch that a string or a note should have.
type Target struct {
	Label  string // name of the note, or of the interval or frequency that a string is tuned to
	Hz     float64
	Step   int // of the tuning, from its reference note; the nearest if a string is between notes
	String int // 1 is the string that the instrument lists first; 0: none
	Fret   int // 0 is the open string
}

// An Instrument is a set of strings and frets in a tuning.
type Instrument struct {
	ID          string // name of the built-in, or path of the file
	Name        string
	Kind        string // what it is, for display: "guitar", "violin"
	Description string
	Tuning      *Tuning // anchored by the instrument's reference
	Strings     []InstrumentString

	// PerpendicularFret is the fret that stands square to the neck where strings differ in scale
	// length; 0 is the nut.
	PerpendicularFret int
	// NutSpreadMM and SaddleSpreadMM are the distances between the outer strings; 0: not known.
	NutSpreadMM, SaddleSpreadMM float64

	built *Tuning // as in the file; Tuning may have been replaced since
}

// An InstrumentString is one string. Measures that are not known are 0.
type InstrumentString struct {
	Open          Target
	ScaleLengthMM float64 // nut to saddle
	GaugeMM       float64 // diameter
	CoreMM        float64 // diameter of the core of a wound string, which bears the tension
	LinearDensity float64 // kg/m
	Material      string
	Inharmonicity float64 // B of f_k = k·f0·√(1+B·k²)
	Frets         []Fret  // from the nut; empty on a fretless string
	DetuneCents   float64 // of Open, against what the file and the tuning say; see Instrument.Detuned

	pitch  openPitch
	course int // index of the [[strings]] that gives it, and others tuned alike
}

// A Fret is one fret of a string.
type Fret struct {
	Step  int     // steps of the instrument's own tuning above the open string; the nearest if free
	Cents float64 // the interval above the open string

	free  bool // given by its interval, not by a step
	ratio bool // which is a ratio
}

// An openPitch says how the file gives the pitch of an open string.
type openPitch struct {
	kind     pitchKind
	note     string   // byNote
	cents    float64  // above what the rest says
	step     int      // byStep
	interval Interval // byInterval, above the reference note
	hz       float64  // byHz
	target   Target   // byTarget
}

type pitchKind int

const (
	byNote pitchKind = iota
	byStep
	byInterval
	byHz
	byTarget // as it is, whatever the tuning
)

// key is that of the file which gives the pitch.
func (k pitchKind) key() string {
	switch k {
	case byNote:
		return "note"
	case byStep:
		return "step"
	case byInterval:
		return "interval"
	case byHz:
		return "hz"
	}
	return ""
}

// OpenBetween says whether the file puts the open string between notes on purpose: as a ratio to the
// reference note, or with cents beside it.
func (s *InstrumentString) OpenBetween() bool {
	_, ratio := s.pitch.interval.Rat()
	return s.pitch.kind == byInterval && ratio || s.pitch.cents != 0
}

// FretsByRatio says whether the file gives all frets of the string as ratios.
func (s *InstrumentString) FretsByRatio() bool {
	for _, f := range s.Frets {
		if !f.ratio {
			return false
		}
	}
	return true
}

// Targets returns the open strings in the instrument's order.
func (in *Instrument) Targets() []Target {
	open := make([]Target, len(in.Strings))
	for i, s := range in.Strings {
		open[i] = s.Open
	}
	return open
}

// Courses returns how many courses the strings make: those that one [[strings]] of the file gives are tuned
// alike and lie side by side.
func (in *Instrument) Courses() int { return len(in.ByCourse().Strings) }

// CourseOf returns the course of string n, both from 1: strings of one [[strings]] of the file share it.
func (in *Instrument) CourseOf(n int) int {
	course := 1
	for i := 1; i < n; i++ {
		if in.Strings[i].course != in.Strings[i-1].course {
			course++
		}
	}
	return course
}

// ByCourse returns the instrument with one string for each course: the four pairs of a mandolin as four
// strings. Without courses it is the same.
func (in *Instrument) ByCourse() *Instrument {
	out := *in
	out.Strings = nil
	for i, s := range in.Strings {
		if i == 0 || s.course != in.Strings[i-1].course {
			s.Open.String = len(out.Strings) + 1
			out.Strings = append(out.Strings, s)
		}
	}
	return &out
}

// Fretted returns the pitch of string n (from 1) at a fret (0 is the open string): the open
// string's target raised by the interval of the fret. Step and Label are those of the nearest
// note of the tuning, of a detuned string those of the note that has been moved.
func (in *Instrument) Fretted(n, fret int) (Target, error) {
	if n < 1 || n > len(in.Strings) {
		return Target{}, fmt.Errorf("string %d: %s has strings 1 to %d", n, in.Name, len(in.Strings))
	}
	s := &in.Strings[n-1]
	if fret < 0 || fret > len(s.Frets) {
		return Target{}, fmt.Errorf("fret %d: string %d of %s has frets 0 to %d", fret, n, in.Name, len(s.Frets))
	}
	if fret == 0 {
		return s.Open, nil
	}
	hz := s.Open.Hz * math.Exp2((s.Frets[fret-1].Cents-s.DetuneCents)/1200)
	step := in.Tuning.Nearest(hz)
	return Target{Label: in.Tuning.label(step), Hz: hz, Step: step, String: n, Fret: fret}.detuned(s.DetuneCents), nil
}

// With returns the instrument in another tuning, at another reference, or both; nil keeps what
// it has. The frets stay where they are. A new reference moves all strings alike, except those
// given in Hz, and leaves the step numbers. A new tuning is anchored by the instrument's
// reference; it is refused if a string is given as a step of the old one.
func (in *Instrument) With(t *Tuning, ref *Reference) (*Instrument, error) {
	tuning := in.Tuning
	var err error
	if t != nil {
		if tuning, err = t.WithReference(in.Tuning.anchor()); err != nil {
			return nil, fmt.Errorf("%s: %w", in.Name, err)
		}
	}
	if ref != nil {
		if tuning, err = tuning.moved(*ref); err != nil {
			return nil, fmt.Errorf("%s: %w", in.Name, err)
		}
	}
	out := *in
	out.Tuning = tuning
	out.Strings = append([]InstrumentString(nil), in.Strings...)
	if err := out.placeStrings(); err != nil {
		return nil, err
	}
	return &out, nil
}

// OwnHz returns the pitches of the open strings in Hz as the instrument's file has them, whatever
// tuning, reference and moves it has now.
func (in *Instrument) OwnHz() []float64 {
	file := *in
	file.Tuning = in.built
	all := make([]float64, len(in.Strings))
	for i := range in.Strings {
		open, err := file.openTarget(in.Strings[i].pitch)
		if err != nil { // the file has been read, so that cannot be
			open = in.Strings[i].Open
		}
		all[i] = open.Hz
	}
	return all
}

// Detuned returns the instrument with its open strings moved by so many cents each, in the
// instrument's order, and fretted notes with them. The moves stand against what the file and the
// tuning say, not against earlier moves, and stay if tuning or reference change. Label and Step
// remain those of the note that was moved.
func (in *Instrument) Detuned(cents []float64) (*Instrument, error) {
	if len(cents) != len(in.Strings) {
		return nil, fmt.Errorf("%d moves for the %d strings of %s", len(cents), len(in.Strings), in.Name)
	}
	out := *in
	out.Strings = append([]InstrumentString(nil), in.Strings...)
	for i, c := range cents {
		if !(math.Abs(c) <= maxDetune) { // NaN is not
			return nil, fmt.Errorf("string %d: %g cents is not within -%d to %d", i+1, c, maxDetune, maxDetune)
		}
		out.Strings[i].DetuneCents = c
	}
	return &out, out.placeStrings()
}

// maxDetune is how far a string may be moved, in cents: an octave.
const maxDetune = 1200

// detuned returns the target moved by so many cents. It stays the note that it was.
func (t Target) detuned(cents float64) Target {
	t.Hz *= math.Exp2(cents / 1200)
	return t
}

// anchor returns the reference that puts step 0 where it is.
func (t *Tuning) anchor() Reference { return Reference{Label: t.zeroLabel, Hz: t.zeroHz} }

// moved returns the tuning with the note named by r at r.Hz and all others moved alike.
func (t *Tuning) moved(r Reference) (*Tuning, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	step, err := t.Step(r.Label)
	if err != nil {
		return nil, fmt.Errorf("reference %w", err)
	}
	return t.pitchedAt(r, step)
}

// placeStrings sets the pitch of every open string from in.Tuning.
func (in *Instrument) placeStrings() error {
	for i := range in.Strings {
		s := &in.Strings[i]
		open, err := in.openTarget(s.pitch)
		if err == nil {
			open = open.detuned(s.DetuneCents)
			err = checkHz("pitch", open.Hz)
		}
		if err != nil {
			return in.ofString(i, s.course, strict.At(err, s.pitch.kind.key()))
		}
		open.String = i + 1
		s.Open = open
	}
	return nil
}

// openTarget returns what an open string should sound: what its note, step, interval or frequency is, moved
// by the cents beside it.
func (in *Instrument) openTarget(p openPitch) (Target, error) {
	at, err := in.unmoved(p)
	if err != nil || p.cents == 0 {
		return at, err
	}
	return in.Tuning.between(at.Hz*math.Exp2(p.cents/1200), at.Label+" "+MovedWords(p.cents)), nil
}

// MovedWords writes by how many cents a note is moved: "-13.7c".
func MovedWords(cents float64) string {
	sign := ""
	if cents > 0 {
		sign = "+"
	}
	return sign + strconv.FormatFloat(cents, 'f', -1, 64) + "c"
}

func (in *Instrument) unmoved(p openPitch) (Target, error) {
	t := in.Tuning
	switch p.kind {
	case byTarget:
		return p.target, nil
	case byNote:
		step, err := t.Step(p.note)
		if err != nil {
			return Target{}, err
		}
		return t.target(step), nil
	case byStep:
		if t.spec != in.built.spec {
			return Target{}, fmt.Errorf("it is given as step %d of %s, which says nothing in %s", p.step, quote(in.built.spec), quote(t.spec))
		}
		return t.target(p.step), nil
	case byInterval:
		open := t.between(t.zeroHz*p.interval.ratio(), p.interval.String())
		if !t.lettered {
			open.Label = p.interval.String() // says more than a step number
		}
		return open, nil
	}
	return t.between(p.hz, strconv.FormatFloat(p.hz, 'f', -1, 64)+" Hz"), nil
}

func (t *Tuning) target(step int) Target {
	return Target{Label: t.label(step), Hz: t.hz(step), Step: step}
}

// between returns the target of a pitch that need not be a note: the note that it is, or its own
// label.
func (t *Tuning) between(hz float64, label string) Target {
	note := t.target(t.Nearest(hz))
	if math.Abs(1200*math.Log2(hz/note.Hz)) < 1e-6 { // rounding only
		return note
	}
	return Target{Label: label, Hz: hz, Step: note.Step}
}
