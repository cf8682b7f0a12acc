package targets

import (
	"fmt"
	"math"
	"strings"
)

// maxFifthError is how far the best fifth of a division may be from 3/2, in cents, for its notes
// to be named by letters. It keeps every division in which letters are in common use (12, 17,
// 19, 22, 31, 41, 53, 72) and drops those whose "fifths" no player would call so.
const maxFifthError = 10.0

// A naming gives the notes of a tuning letters. Notes are counted by index from C0, so that the
// names say where a reference such as A4 lies.
type naming interface {
	name(index int) string
	index(n noteName) (int, error)
}

// letters names an equal division of the octave along its chain of fifths.
//
// The letters lie where the division's best approximation of 3/2 puts them: …F C G D A E B…, a
// sharp raises by seven fifths less four octaves. Letters are used if
//
//   - that fifth is within maxFifthError of 3/2, and
//   - the alphabet ascends, C < D < E < F < G < A < B, and a sharp raises.
//
// A note takes the nearest letter with at most one sharp or flat and the steps from it: "E4",
// "E4 +2", "Ab3 -1". Of several equally near a plain letter goes before a sharp, a sharp before
// a flat, steps up before steps down; E#, B#, Fb and Cb are not used.
type letters struct {
	division int
	at       [7]int     // steps of C D E F G A B above C
	sharp    int        // steps that a sharp raises
	degrees  []noteName // spelling of every degree above C; octave is 0, or ±1 across the C
}

// newLetters returns nil if the division's fifth is not good enough.
func newLetters(division int) *letters {
	fifth := int(math.Round(float64(division) * math.Log2(1.5)))
	whole := 2*fifth - division   // C to D
	half := 3*division - 5*fifth  // E to F
	sharp := 7*fifth - 4*division // F to F#: whole - half
	off := 1200*float64(fifth)/float64(division) - 1200*math.Log2(1.5)
	if math.Abs(off) > maxFifthError || half <= 0 || sharp <= 0 {
		return nil
	}
	l := &letters{division: division, sharp: sharp}
	l.at = [7]int{0, whole, 2 * whole, 2*whole + half, fifth, fifth + whole, fifth + 2*whole}
	l.degrees = make([]noteName, division)
	for d := range l.degrees {
		l.degrees[d] = l.spell(d)
	}
	return l
}

// spell returns the spelling of degree d, 0 ≤ d < division.
func (l *letters) spell(d int) noteName {
	best, bestCost := noteName{}, math.MaxInt
	for rank, sharps := range [3]int{0, 1, -1} {
		for letter := range l.at {
			if crossesHalfStep(letter, sharps) {
				continue
			}
			for octave := -1; octave <= 1; octave++ {
				steps := d - (l.at[letter] + sharps*l.sharp + octave*l.division)
				cost := max(steps, -steps)*6 + rank*2
				if steps < 0 {
					cost++
				}
				if cost < bestCost {
					best, bestCost = noteName{letter, sharps, octave, steps}, cost
				}
			}
		}
	}
	return best
}

// crossesHalfStep says whether the name is one of E#, B#, Fb and Cb, which are read but not
// written: E +1 says the same and is easier to find on an instrument.
func crossesHalfStep(letter, sharps int) bool {
	switch noteLetters[letter] {
	case 'E', 'B':
		return sharps > 0
	case 'F', 'C':
		return sharps < 0
	}
	return false
}

func (l *letters) name(index int) string {
	octave := floorDiv(index, l.division)
	n := l.degrees[floorMod(index, l.division)]
	n.octave += octave
	return n.String()
}

func (l *letters) index(n noteName) (int, error) {
	return n.octave*l.division + l.at[n.letter] + n.sharps*l.sharp + n.steps, nil
}

// keys names the twelve notes of a temperament by its keys, each with one name: twelve letters
// that follow each other along the chain of fifths.
type keys struct {
	names    [12]noteName // from C; octave and steps are 0
	circular bool         // sharps and flats of one key are the same note
	first    int          // place of the chain's first letter, counted in fifths from F
}

// firstKey is the usual chain, from Eb to G#.
const firstKey = -2

// newKeys returns the keys named by the chain that begins so many fifths above F.
func newKeys(circular bool, first int) *keys {
	k := &keys{circular: circular, first: first}
	for place := first; place < first+12; place++ {
		n := noteName{letter: strings.IndexByte(noteLetters, "FCGDAEB"[floorMod(place, 7)]), sharps: floorDiv(place, 7)}
		k.names[floorMod(semitones[n.letter]+n.sharps, 12)] = n
	}
	return k
}

// rotated returns the keys of the temperament whose C stands where key number by of this one
// stood. Where sharps and flats are the same note the usual names serve everywhere.
func (k *keys) rotated(by int) *keys {
	if k.circular {
		return k
	}
	n := k.names[by]
	place := strings.IndexByte("FCGDAEB", noteLetters[n.letter]) + 7*n.sharps
	return newKeys(false, k.first-(place-1)) // C is one fifth above F
}

func (k *keys) name(index int) string {
	n := k.names[floorMod(index, 12)]
	n.octave = floorDiv(index-n.sharps, 12) // Cb4 is the key below C4
	return n.String()
}

// semitones of C D E F G A B above C on the keyboard.
var semitones = [7]int{0, 2, 4, 5, 7, 9, 11}

func (k *keys) index(n noteName) (int, error) {
	index := 12*n.octave + semitones[n.letter] + n.sharps
	own := k.names[floorMod(index, 12)]
	if !k.circular && (own.letter != n.letter || own.sharps != n.sharps) {
		return 0, fmt.Errorf("this temperament has no %s; its key there is %s", n.appendLetter(nil), own.appendLetter(nil))
	}
	return index + n.steps, nil
}

// floorDiv returns a/b rounded down; b > 0.
func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// floorMod returns what floorDiv leaves over, 0 to b-1.
func floorMod(a, b int) int { return a - b*floorDiv(a, b) }
