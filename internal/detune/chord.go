package detune

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"tunerd/internal/targets"
)

// Muted is the fret of a string that does not sound.
const Muted = -1

// Limits of a chord.
const (
	maxNameRunes = 40
	minWeight    = 0.01
	maxWeight    = 100
	octaveAlike  = 60 // cents that a note may be off its part when parts are taken in other octaves
)

// A Chord is a shape on the fretboard and what it should sound.
type Chord struct {
	Name   string
	Frets  []int  // of every string in the instrument's order; Muted does not sound
	Ratios string // what it should be, as it was written
	Weight float64
	Notes  []Note // the strings that have a part in it, from the last string to string 1
}

// A Note is one string of a chord.
type Note struct {
	String int // from 1
	Fret   int
	Wanted targets.Interval // above a root common to the chord
}

// ParseChord reads a chord for an instrument:
//
//	3 2 0 0 0 3 as 4:5:6:8:10:16
//	G: 320003 as 4:5:6 weight 2
//	x x 0 2 3 2 as 1/1 3/2 2/1 5/2
//	x 3 2 3 1 0 as 5=4 4=5 3=7
//
// Frets are those of all strings from the last to string 1; x or - does not sound. They stand
// together only if each is a single figure. Then come the parts of the strings that sound, in the
// same order: whole numbers in proportion, or intervals above a common root. Fewer whole numbers
// than sounding strings are taken in other octaves too, each string getting that nearest to it.
// With N=INTERVAL, string N has that part and strings not named have none.
func ParseChord(in *targets.Instrument, text string) (Chord, error) {
	c, err := parseChord(in, text)
	if err != nil {
		return Chord{}, fmt.Errorf("chord %q: %w", text, err)
	}
	return c, nil
}

func parseChord(in *targets.Instrument, text string) (Chord, error) {
	c := Chord{Weight: 1}
	if strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsGraphic(r) }) {
		return c, errors.New("it has characters that cannot be shown on one line")
	}
	shape, parts, ok := strings.Cut(text, " as ")
	if !ok {
		return c, errors.New(`write frets from the last string to string 1, "as", and the parts: 320003 as 4:5:6:8:10:16`)
	}
	if name, frets, ok := strings.Cut(shape, ":"); ok {
		c.Name, shape = strings.TrimSpace(name), frets
	}
	if utf8.RuneCountInString(c.Name) > maxNameRunes {
		return c, fmt.Errorf("its name is longer than %d characters", maxNameRunes)
	}
	parts, weight, ok := strings.Cut(parts, " weight ")
	if ok {
		var err error
		c.Weight, err = strconv.ParseFloat(strings.TrimSpace(weight), 64)
		if err != nil || !(c.Weight >= minWeight && c.Weight <= maxWeight) {
			return c, fmt.Errorf("weight %q is no number from %g to %d", strings.TrimSpace(weight), minWeight, maxWeight)
		}
	}
	var err error
	if c.Frets, err = parseFrets(in, shape); err != nil {
		return c, err
	}
	c.Ratios = strings.Join(strings.Fields(parts), " ")
	return c, c.assign(in)
}

// parseFrets reads the frets from the last string to string 1 and returns them in the
// instrument's order.
func parseFrets(in *targets.Instrument, text string) ([]int, error) {
	n := len(in.Strings)
	fields := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' })
	if len(fields) == 1 && n > 1 {
		fields = strings.Split(fields[0], "")
	}
	if len(fields) != n {
		return nil, fmt.Errorf("%d frets for the %d strings of %s; write one a string, x where it does not sound, parted by spaces", len(fields), n, in.Name)
	}
	frets := make([]int, n)
	for i, field := range fields {
		s := n - 1 - i
		if field == "x" || field == "X" || field == "-" {
			frets[s] = Muted
			continue
		}
		fret, err := strconv.ParseUint(field, 10, 16)
		if most := len(in.Strings[s].Frets); err != nil || int(fret) > most {
			return nil, fmt.Errorf("fret %q: string %d of %s has frets 0 to %d, or x", field, s+1, in.Name, most)
		}
		frets[s] = int(fret)
	}
	return frets, nil
}

// assign gives the parts in c.Ratios to the strings.
func (c *Chord) assign(in *targets.Instrument) error {
	for s := len(c.Frets) - 1; s >= 0; s-- {
		if c.Frets[s] != Muted {
			c.Notes = append(c.Notes, Note{String: s + 1, Fret: c.Frets[s]})
		}
	}
	var err error
	switch {
	case strings.Contains(c.Ratios, "="):
		err = c.assignByString()
	case strings.Contains(c.Ratios, ":"):
		err = c.assignParts(in, strings.Split(c.Ratios, ":"), true)
	default:
		err = c.assignParts(in, strings.Fields(c.Ratios), false)
	}
	if err == nil && len(c.Notes) < 2 {
		err = errors.New("fewer than two strings have a part in it")
	}
	return err
}

func (c *Chord) assignByString() error {
	wanted := map[int]targets.Interval{}
	for _, field := range strings.Fields(c.Ratios) {
		number, part, _ := strings.Cut(field, "=")
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 || n > len(c.Frets) || c.Frets[n-1] == Muted {
			return fmt.Errorf("%q: string %q does not sound; write the number of a string, = and its part, such as 5=4", field, number)
		}
		if _, twice := wanted[n]; twice {
			return fmt.Errorf("string %d has two parts", n)
		}
		if wanted[n], err = targets.ParseInterval(part); err != nil {
			return err
		}
	}
	var named []Note
	for _, note := range c.Notes {
		if iv, ok := wanted[note.String]; ok {
			note.Wanted = iv
			named = append(named, note)
		}
	}
	c.Notes = named
	return nil
}

func (c *Chord) assignParts(in *targets.Instrument, fields []string, octaves bool) error {
	parts := make([]targets.Interval, len(fields))
	for i, field := range fields {
		var err error
		if parts[i], err = targets.ParseInterval(strings.TrimSpace(field)); err != nil {
			return err
		}
	}
	if octaves && len(parts) > 1 && len(parts) < len(c.Notes) {
		return c.spread(in, parts)
	}
	if len(parts) != len(c.Notes) {
		return fmt.Errorf("%d parts for %d strings that sound", len(parts), len(c.Notes))
	}
	for i := range parts {
		c.Notes[i].Wanted = parts[i]
	}
	return nil
}

// spread gives every note the nearest of the parts in any octave. Which part the first note has is
// settled by the least sum of squared errors.
func (c *Chord) spread(in *targets.Instrument, parts []targets.Interval) error {
	cents := c.cents(in)
	best, least := []targets.Interval(nil), math.Inf(1)
	for _, first := range parts {
		root := cents[0] - first.Cents()
		sum, wanted := 0.0, make([]targets.Interval, len(cents))
		for i := range cents {
			var off float64
			wanted[i], off = nearestOctave(parts, cents[i]-root)
			sum += off * off
			if math.Abs(off) > octaveAlike {
				sum = math.Inf(1)
			}
		}
		if sum < least {
			best, least = wanted, sum
		}
	}
	if best == nil {
		return fmt.Errorf("%d parts for %d strings that sound, some of which are no octave of a part within %d cents; write a part for each", len(parts), len(cents), octaveAlike)
	}
	for i := range best {
		c.Notes[i].Wanted = best[i]
	}
	return nil
}

// nearestOctave returns the part, moved by octaves, that is nearest to cents, and how far off it is.
func nearestOctave(parts []targets.Interval, cents float64) (near targets.Interval, off float64) {
	octave, _ := targets.Ratio(2, 1) // has whole sides
	off = math.Inf(1)
	for _, part := range parts {
		moved := part.Add(octave.Mul(int(math.Round((cents - part.Cents()) / 1200))))
		if d := cents - moved.Cents(); math.Abs(d) < math.Abs(off) {
			near, off = moved, d
		}
	}
	return near, off
}

// cents returns what the notes sound on an instrument, in cents above 1 Hz.
func (c *Chord) cents(in *targets.Instrument) []float64 {
	cents := make([]float64, len(c.Notes))
	for i, note := range c.Notes {
		cents[i] = 1200 * math.Log2(noteHz(in, note))
	}
	return cents
}

// noteHz returns what a note sounds on an instrument.
func noteHz(in *targets.Instrument, n Note) float64 {
	s := &in.Strings[n.String-1]
	return s.Open.Hz * math.Exp2(fretCents(s, n.Fret)/1200)
}

// fretCents returns the interval of a fret above the open string.
func fretCents(s *targets.InstrumentString, fret int) float64 {
	if fret == 0 {
		return 0
	}
	return s.Frets[fret-1].Cents
}

// FretText returns the frets from the last string to string 1, as ParseChord reads them.
func (c *Chord) FretText() string {
	fields := make([]string, len(c.Frets))
	for s, fret := range c.Frets {
		text := "x"
		if fret != Muted {
			text = strconv.Itoa(fret)
		}
		fields[len(fields)-1-s] = text
	}
	return strings.Join(fields, " ")
}

// String returns the name of the chord, or what stands for one.
func (c *Chord) String() string {
	if c.Name != "" {
		return c.Name
	}
	return c.FretText()
}
