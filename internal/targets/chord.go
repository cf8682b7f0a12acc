package targets

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Limits of ParseChords: they bound the search for the best approximation of a chord.
const (
	maxChordNotes = 12
	maxChordPart  = 1_000_000
	maxChords     = 100
)

// A Chord is a set of notes in whole-number ratios, such as 4:5:6:7. Its first note is the root.
type Chord struct {
	parts []uint64
	notes []Interval // above the root
	cents []float64  // sizes of notes
	pairs []chordPair
	text  string
}

// A chordPair is two notes of a chord, low before high in the order of the chord.
type chordPair struct {
	low, high int
	n, m      uint64  // the high note is n/m of the low one, in lowest terms
	cents     float64 // size of n/m
	weight    float64
}

// ParseChord reads whole numbers like 4:5:6:7.
func ParseChord(text string) (Chord, error) {
	text = strings.TrimSpace(text)
	parts := strings.Split(text, ":")
	if err := checkCount(len(parts)); err != nil {
		return Chord{}, err
	}
	c := Chord{text: text, parts: make([]uint64, len(parts)), notes: make([]Interval, len(parts))}
	var err error
	for i, part := range parts {
		if c.parts[i], err = parseSide(part); err == nil {
			c.notes[i], err = Ratio(c.parts[i], 1)
		}
		if err != nil {
			return Chord{}, fmt.Errorf("%s is no part of a chord; write whole numbers like 4:5:6:7", quote(part))
		}
	}
	root := c.notes[0]
	for i := range c.notes {
		c.notes[i] = c.notes[i].Sub(root)
		c.cents = append(c.cents, c.notes[i].Cents())
	}
	return c, refuseRepeated(c.notes, parts)
}

// ParseChordNumbers reads the whole numbers of a chord like 4:5:6:7, one for each of so many notes, up to a million.
func ParseChordNumbers(text string, notes int) ([]int, error) {
	c, err := ParseChord(text)
	if err != nil {
		return nil, err
	}
	if len(c.parts) != notes {
		return nil, fmt.Errorf("the chord %s has %d parts for %d notes; give one for each, in their order", quote(c.text), len(c.parts), notes)
	}
	numbers := make([]int, notes)
	for i, part := range c.parts {
		if part > maxChordPart {
			return nil, fmt.Errorf("chord %s: %d is more than %d", quote(c.text), part, maxChordPart)
		}
		numbers[i] = int(part)
	}
	return numbers, nil
}

// ParseChords reads chords separated by commas, like "4:5:6:7, 10:12:15". Each has 2 to 12 notes.
func ParseChords(text string) ([]Chord, error) {
	var chords []Chord
	for part := range strings.SplitSeq(text, ",") {
		if strings.TrimSpace(part) == "" {
			return nil, errors.New("a chord is missing; write them like 4:5:6:7, 10:12:15")
		}
		c, err := ParseChord(part)
		if err != nil {
			return nil, fmt.Errorf("chord %s: %w", quote(strings.TrimSpace(part)), err)
		}
		if len(c.parts) < 2 || len(c.parts) > maxChordNotes {
			return nil, fmt.Errorf("chord %s has %d notes; write 2 to %d, like 4:5:6:7", quote(c.text), len(c.parts), maxChordNotes)
		}
		if top := slices.Max(c.parts); top > maxChordPart {
			return nil, fmt.Errorf("chord %s: %d is more than %d", quote(c.text), top, maxChordPart)
		}
		c.pairUp()
		chords = append(chords, c)
	}
	if len(chords) > maxChords {
		return nil, fmt.Errorf("%d chords are more than %d", len(chords), maxChords)
	}
	return chords, nil
}

// pairUp lists all pairs. A pair n/m weighs 1/√(n·m): partials n of the one note and m of the
// other coincide and beat, and on a plucked string both fall off about as one over their number,
// so this is the geometric mean of their amplitudes.
func (c *Chord) pairUp() {
	for low := range c.parts {
		for high := low + 1; high < len(c.parts); high++ {
			n, m := c.parts[high], c.parts[low]
			g := gcd(n, m)
			n, m = n/g, m/g
			c.pairs = append(c.pairs, chordPair{low, high, n, m,
				c.notes[high].Sub(c.notes[low]).Cents(), 1 / math.Sqrt(float64(n)*float64(m))})
		}
	}
}

// Notes returns the intervals of all notes above the root, which is the first of them.
func (c Chord) Notes() []Interval { return append([]Interval(nil), c.notes...) }

// Parts returns the whole numbers of the chord.
func (c Chord) Parts() []uint64 { return append([]uint64(nil), c.parts...) }

// String returns the chord as it was written.
func (c Chord) String() string { return c.text }

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
