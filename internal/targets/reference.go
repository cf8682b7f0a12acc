package targets

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Notes and references lie between these pitches: below the lowest organ pipe there is no pitch
// to hear, and above the top no fundamental of an instrument.
const (
	MinNoteHz = 8.0
	MaxNoteHz = 13000.0
)

// A Reference anchors a tuning: the note Label sounds at Hz. Label is the name of a note with
// its octave (A4, Eb3, F♯2) or a step number of the tuning.
type Reference struct {
	Label string  `json:"label"`
	Hz    float64 `json:"hz"`
}

// StandardPitch is A4 = 440 Hz (ISO 16:1975).
var StandardPitch = Reference{Label: "A4", Hz: 440}

// String writes the reference for reading: "A4=440 Hz".
func (r Reference) String() string {
	return r.Label + "=" + strconv.FormatFloat(r.Hz, 'f', -1, 64) + " Hz"
}

// ParseReference reads a reference such as "A4=440", "Eb3 = 155.56 Hz" or "step 0=146.83". A pitch
// alone, such as "432", is that of A4.
func ParseReference(text string) (Reference, error) {
	label, value, ok := strings.Cut(text, "=")
	if lone := strings.TrimSpace(label); !ok && lone != "" && strings.Trim(lone[:1], "0123456789") == "" {
		label, value, ok = StandardPitch.Label, lone, true
	}
	if !ok {
		return Reference{}, fmt.Errorf("reference %s has no =; write a note or step and its frequency, like A4=440", quote(text))
	}
	r := Reference{Label: strings.TrimSpace(label)}
	value = strings.TrimSpace(value)
	number := value
	if n := len(value) - 2; n >= 0 && strings.EqualFold(value[n:], "hz") {
		number = strings.TrimSpace(value[:n])
	}
	hz, err := parseDecimal(number)
	if err != nil {
		return Reference{}, fmt.Errorf("reference %s: %s is no frequency in Hz; write it like A4=440 or A4=442.5", quote(text), quote(value))
	}
	r.Hz = hz
	if err := r.check(); err != nil {
		return Reference{}, err
	}
	return r, nil
}

// check tells whether the label can be read and the frequency is that of a note.
func (r Reference) check() error {
	if _, isStep := parseStepLabel(r.Label); !isStep {
		if _, err := parseNoteName(r.Label); err != nil {
			return fmt.Errorf("reference: %w, or a step like 0", err)
		}
	}
	return checkHz("reference "+r.Label, r.Hz)
}

func checkHz(what string, hz float64) error {
	if !(hz >= MinNoteHz && hz <= MaxNoteHz) {
		return fmt.Errorf("%s: %g Hz is outside %g to %g Hz", what, hz, MinNoteHz, MaxNoteHz)
	}
	return nil
}

// parseStepLabel reads a step number, with or without the word "step" before it.
func parseStepLabel(s string) (int, bool) {
	s = strings.TrimSpace(strings.TrimPrefix(s, "step "))
	k, err := strconv.Atoi(s)
	return k, err == nil && k >= -maxStepCount && k <= maxStepCount
}

// A noteName is a letter with its sharps or flats, the octave, which begins at C, and how many
// steps of the tuning the note lies above it.
type noteName struct {
	letter int // index into noteLetters
	sharps int // flats count negative
	octave int
	steps  int
}

const noteLetters = "CDEFGAB"

const (
	minOctave     = -1
	maxOctave     = 10
	maxAccidental = 3
)

// parseNoteName reads "A4", "c#3", "B♭2", "E4 +2", "E4-1".
func parseNoteName(s string) (noteName, error) {
	bad := func() (noteName, error) {
		return noteName{}, fmt.Errorf("%s is no note; write letter, sharps or flats and octave, like A4, C#3 or Eb2", quote(s))
	}
	if s == "" {
		return bad()
	}
	var n noteName
	if n.letter = strings.IndexByte(noteLetters, s[0]&^0x20); n.letter < 0 {
		return bad()
	}
	rest := s[1:]
	n.sharps, rest = cutAccidentals(rest)
	octave, steps := cutOctave(rest)
	var err error
	if n.octave, err = strconv.Atoi(octave); err != nil || n.octave < minOctave || n.octave > maxOctave {
		return bad()
	}
	if steps = strings.TrimLeft(steps, " "); steps != "" {
		n.steps, err = strconv.Atoi(steps)
		if err != nil || steps[0] != '+' && steps[0] != '-' || max(n.steps, -n.steps) > maxSteps {
			return bad()
		}
	}
	if max(n.sharps, -n.sharps) > maxAccidental {
		return bad()
	}
	return n, nil
}

// centsAfter is what may follow a note: its distance in cents.
var centsAfter = regexp.MustCompile(`^(.*?)\s*([+-]\d+(?:\.\d*)?)c$`)

// CutCents splits "B3-13.7c" into the note and its distance in cents; without one it is 0.
func CutCents(text string) (note string, cents float64) {
	text = strings.TrimSpace(text)
	m := centsAfter.FindStringSubmatch(text)
	if m == nil {
		return text, 0
	}
	cents, _ = strconv.ParseFloat(m[2], 64) // it is a number
	return m[1], cents
}

// cutAccidentals counts the sharps (flats negative) that s begins with.
func cutAccidentals(s string) (sharps int, rest string) {
	for {
		switch {
		case strings.HasPrefix(s, "#"):
			sharps, s = sharps+1, s[1:]
		case strings.HasPrefix(s, "b"):
			sharps, s = sharps-1, s[1:]
		case strings.HasPrefix(s, "♯"):
			sharps, s = sharps+1, s[len("♯"):]
		case strings.HasPrefix(s, "♭"):
			sharps, s = sharps-1, s[len("♭"):]
		default:
			return sharps, s
		}
	}
}

// cutOctave splits "4 +2" into the octave "4" and the steps " +2"; an octave may be negative.
func cutOctave(s string) (octave, steps string) {
	end := 0
	if strings.HasPrefix(s, "-") {
		end = 1
	}
	for end < len(s) && s[end] >= '0' && s[end] <= '9' {
		end++
	}
	return s[:end], s[end:]
}

// String writes the name as parseNoteName reads it.
func (n noteName) String() string { return string(n.append(nil)) }

func (n noteName) append(dst []byte) []byte {
	dst = n.appendLetter(dst)
	dst = strconv.AppendInt(dst, int64(n.octave), 10)
	if n.steps == 0 {
		return dst
	}
	dst = append(dst, ' ')
	if n.steps > 0 {
		dst = append(dst, '+')
	}
	return strconv.AppendInt(dst, int64(n.steps), 10)
}

// appendLetter writes the letter and its accidentals, without the octave.
func (n noteName) appendLetter(dst []byte) []byte {
	dst = append(dst, noteLetters[n.letter])
	for range n.sharps {
		dst = append(dst, '#')
	}
	for range -n.sharps {
		dst = append(dst, 'b')
	}
	return dst
}
