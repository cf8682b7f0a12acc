package command

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"tunerd/internal/beats"
	"tunerd/internal/display"
	"tunerd/internal/targets"
)

// noteHelp says in a command's help how notes are written.
const noteHelp = `A note is written as a name (A3, C#4, "E4 +2" in a tuning with steps between the letters), a
step of the tuning ("step 5"), a pitch (220Hz), or with --instrument a string (6) or a string
at a fret (6f3). Cents may follow: B3-13.7c.`

// notesOptions say what notes the words on the command line mean.
type notesOptions struct {
	tuning        string
	instrument    string
	reference     string
	inharmonicity []float64
}

func (o *notesOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.tuning, "tuning", "t", "", "tuning `SPEC` that the notes are of (default: the instrument's, or 12edo)")
	fs.StringVar(&o.instrument, "instrument", "", "`NAME` of a built-in instrument, or a TOML file: notes may be its strings")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440 (default: the instrument's, or A4=440)")
	fs.Float64SliceVar(&o.inharmonicity, "inharmonicity", nil, "inharmonicity `B` of all notes, or one for each, such as 1e-4,8e-5\n(default: the instrument's, or 0)")
}

// A note is a note on the command line.
type note struct {
	beats.Tone
	str, fret int // of the instrument; 0, 0: none
}

// A noteReader reads notes in a tuning, and on an instrument if there is one.
type noteReader struct {
	plan          *plan
	inharmonicity []float64
}

// reader reads tuning and instrument. What is wrong with them is wrong usage.
func (o *notesOptions) reader() (*noteReader, error) {
	p, err := (&tuningOptions{tuning: o.tuning, instrument: o.instrument, reference: o.reference, tolerance: 0.5}).plan()
	if err != nil {
		return nil, err
	}
	for _, b := range o.inharmonicity {
		if !(b >= 0 && b <= 0.1) {
			return nil, usagef("--inharmonicity %g is not within 0 to 0.1", b)
		}
	}
	return &noteReader{plan: p, inharmonicity: o.inharmonicity}, nil
}

// notes reads all notes on the command line; without any, the open strings of the instrument.
func (r *noteReader) notes(words []string) ([]note, error) {
	if len(words) == 0 && r.plan.config.Instrument != nil {
		for i := range r.plan.config.Instrument.Strings {
			words = append(words, strconv.Itoa(i+1))
		}
	}
	var all []note
	for _, word := range words {
		n, err := r.note(word)
		if err != nil {
			return nil, usageError{err}
		}
		all = append(all, n)
	}
	return all, r.stiffen(all)
}

// stiffen gives the notes the inharmonicity asked for.
func (r *noteReader) stiffen(notes []note) error {
	bs := r.inharmonicity
	switch len(bs) {
	case 0:
		return nil
	case 1, len(notes):
	default:
		return usagef("--inharmonicity has %d values for %d notes; give one for all or one for each", len(bs), len(notes))
	}
	for i := range notes {
		notes[i].B = bs[min(i, len(bs)-1)]
	}
	return nil
}

func (r *noteReader) note(word string) (note, error) {
	label, cents := targets.CutCents(word)
	n, err := r.plainNote(label)
	if err != nil {
		return note{}, err
	}
	if cents != 0 {
		n.Hz *= math.Exp2(cents / 1200)
		n.Label += " " + targets.MovedWords(cents)
	}
	if !(n.Hz >= targets.MinNoteHz && n.Hz <= targets.MaxNoteHz) {
		return note{}, fmt.Errorf("%q: %s Hz is outside %g to %g Hz", word, display.Plain(n.Hz, 6), targets.MinNoteHz, targets.MaxNoteHz)
	}
	return n, nil
}

func (r *noteReader) plainNote(label string) (note, error) {
	if hz, ok := strings.CutSuffix(strings.ToLower(label), "hz"); ok {
		f, err := strconv.ParseFloat(strings.TrimSpace(hz), 64)
		if err != nil || math.IsNaN(f) {
			return note{}, fmt.Errorf("%q is no pitch; write it like 220Hz", label)
		}
		return note{Tone: beats.Tone{Label: label, Hz: f}}, nil
	}
	if n, ok, err := r.stringNote(label); ok || err != nil {
		return n, err
	}
	if _, err := strconv.Atoi(label); err == nil {
		return note{}, fmt.Errorf("%q is no note; write %sHz for a pitch, \"step %s\" for a note of the tuning, or name an --instrument with such a string", label, label, label)
	}
	step, err := r.plan.tuning.Step(label)
	if err != nil {
		return note{}, err
	}
	return r.tuningNote(step), nil
}

func (r *noteReader) tuningNote(step int) note {
	n := r.plan.tuning.Note(step)
	return note{Tone: beats.Tone{Label: n.Label, Hz: n.Hz}}
}

// nearest is the note of the tuning nearest to a pitch.
func (r *noteReader) nearest(hz float64) beats.Tone {
	return r.tuningNote(r.plan.tuning.Nearest(hz)).Tone
}

// stringAtFret is a string, and perhaps a fret.
var stringAtFret = regexp.MustCompile(`^(\d+)(?:f(\d+))?$`)

// stringNote reads "6" and "6f3"; ok is false if the word is none of these or there is no
// instrument.
func (r *noteReader) stringNote(label string) (n note, ok bool, err error) {
	m := stringAtFret.FindStringSubmatch(label)
	in := r.plan.config.Instrument
	switch {
	case m == nil || in == nil && m[2] == "":
		return note{}, false, nil
	case in == nil:
		return note{}, false, fmt.Errorf("%q is a string at a fret; name the instrument with --instrument", label)
	}
	str, errS := strconv.Atoi(m[1])
	fret := 0
	var errF error
	if m[2] != "" {
		fret, errF = strconv.Atoi(m[2])
	}
	if err := errors.Join(errS, errF); err != nil {
		return note{}, false, fmt.Errorf("%q is no string or fret", label)
	}
	target, err := in.Fretted(str, fret)
	if err != nil {
		return note{}, false, err
	}
	s := &in.Strings[str-1]
	b := s.Inharmonicity
	if fret > 0 {
		b = beats.Fretted(b, s.Frets[fret-1].Cents)
	}
	return note{beats.Tone{Label: target.Label, Hz: target.Hz, B: b}, str, fret}, true, nil
}

// tones are the notes without their strings.
func tones(notes []note) []beats.Tone {
	all := make([]beats.Tone, len(notes))
	for i, n := range notes {
		all[i] = n.Tone
	}
	return all
}

// place is where a note is played, or nil.
func (n note) place() any {
	switch {
	case n.str == 0:
		return nil
	case n.fret == 0:
		return strconv.Itoa(n.str)
	}
	return fmt.Sprintf("%df%d", n.str, n.fret)
}

// chordNumbers reads the numbers of a chord such as 4:5:6:7, one for each of count notes.
func chordNumbers(text string, count int) ([]int, error) {
	numbers, err := targets.ParseChordNumbers(text, count)
	if err != nil {
		return nil, usageError{err}
	}
	return numbers, nil
}
