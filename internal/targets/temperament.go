package targets

import "strings"

// A temperament is a published tuning of the twelve keys, given by its construction: the chain
// of eleven fifths Eb Bb F C G D A E B F# C# G#, each pure or made narrow. The twelfth fifth,
// G# back to Eb, takes what is left over.
type temperament struct {
	name     string
	about    string // for lists
	narrowed []narrowing
	circular bool // the twelfth fifth is of use, so that D# may stand for Eb
}

// A narrowing takes an interval off the fifths upward from the named keys.
type narrowing struct {
	by   Interval
	from string
}

// fifthsChain is the chain from Eb.
var fifthsChain = [12]string{"Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#"}

var (
	pureFifth        = mustRatio(3, 2)
	syntonicComma    = mustRatio(81, 80)
	pythagoreanComma = mustRatio(531441, 524288) // twelve pure fifths less seven octaves
	schisma          = mustRatio(32805, 32768)   // the difference of the two
)

func mustRatio(num, den uint64) Interval {
	iv, err := Ratio(num, den)
	if err != nil {
		panic(err)
	}
	return iv
}

// temperaments holds the constructions. The first three well temperaments are defined so by
// J. Kanter (definitions of well temperaments) and Kirnberger's letter to Forkel (Allgemeine
// musikalische Zeitung 1871); the place of Kirnberger's schisma and Young's second temperament
// (1800) are from memory. The last two are common practice.
var temperaments = []temperament{
	{"werckmeister-3", "C-G, G-D, D-A and B-F# each narrow by 1/4 Pythagorean comma", []narrowing{{pythagoreanComma.Div(4), "C G D B"}}, true},
	{"kirnberger-3", "C-G, G-D, D-A and A-E each narrow by 1/4 syntonic comma, F#-C# by a schisma; C-E pure", []narrowing{{syntonicComma.Div(4), "C G D A"}, {schisma, "F#"}}, true},
	{"vallotti", "F-C to E-B, six fifths, each narrow by 1/6 Pythagorean comma", []narrowing{{pythagoreanComma.Div(6), "F C G D A E"}}, true},
	{"young-2", "C-G to B-F#, six fifths, each narrow by 1/6 Pythagorean comma", []narrowing{{pythagoreanComma.Div(6), "C G D A E B"}}, true},
	{"quarter-comma-meantone", "eleven fifths from Eb to G# each narrow by 1/4 syntonic comma; pure major thirds", []narrowing{{syntonicComma.Div(4), "Eb Bb F C G D A E B F# C#"}}, false},
	{"pythagorean", "eleven pure fifths from Eb to G#", nil, false},
}

// Temperaments returns the names of the published temperaments that ParseTuning knows.
func Temperaments() []string {
	names := make([]string, len(temperaments))
	for i, m := range temperaments {
		names[i] = m.name
	}
	return names
}

// TemperamentAbout describes a published temperament in one line; empty if there is none of that
// name.
func TemperamentAbout(name string) string {
	m, _ := findTemperament(name)
	return m.about
}

func findTemperament(name string) (temperament, bool) {
	for _, m := range temperaments {
		if m.name == name {
			return m, true
		}
	}
	return temperament{}, false
}

// tuning returns the temperament anchored at StandardPitch. 1/1 is C.
func (m temperament) tuning() (*Tuning, error) {
	const c = 3 // place of C in the chain
	var chain [12]Interval
	for i := range 11 {
		chain[i+1] = chain[i].Add(m.fifth(fifthsChain[i]))
	}
	notes := make([]Interval, len(chain))
	for i := range chain {
		notes[i] = chain[i].Sub(chain[c])
	}
	t, err := newListed(notes, octave)
	if err != nil {
		return nil, err
	}
	t.naming = newKeys(m.circular, firstKey)
	return t.WithReference(StandardPitch)
}

// fifth returns the fifth upward from a key.
func (m temperament) fifth(from string) Interval {
	size := pureFifth
	for _, n := range m.narrowed {
		for key := range strings.FieldsSeq(n.from) {
			if key == from {
				size = size.Sub(n.by)
			}
		}
	}
	return size
}
