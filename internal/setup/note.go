package setup

import (
	"fmt"
	"math"

	"tunerd/internal/stiffstring"
)

// A Note is one thing to play: the open string, a natural harmonic of it, or a fretted note.
type Note struct {
	String   int `json:"string"`             // its number
	Fret     int `json:"fret,omitempty"`     // from 1; 0: the open string, or a harmonic of it
	Harmonic int `json:"harmonic,omitempty"` // from 2; 0: none
}

// Open says whether it is the open string itself.
func (n Note) Open() bool { return n.Fret == 0 && n.Harmonic == 0 }

// Text names the note for people: "string 6, fret 12".
func (n Note) Text() string { return fmt.Sprintf("string %d, %s", n.String, n.Short()) }

// Short names the note without its string.
func (n Note) Short() string {
	switch {
	case n.Harmonic > 0:
		return fmt.Sprintf("harmonic %d", n.Harmonic)
	case n.Fret > 0:
		return fmt.Sprintf("fret %d", n.Fret)
	}
	return "open"
}

// maxHarmonic is the highest natural harmonic that a check asks for.
const maxHarmonic = 8

// check says what is wrong with the note on this board.
func (b *Board) checkNote(n Note) error {
	i, ok := b.at(n.String)
	switch {
	case !ok:
		return fmt.Errorf("string %d: %s has no such string with frets", n.String, b.Name)
	case n.Fret < 0 || n.Fret > len(b.Strings[i].Frets):
		return fmt.Errorf("fret %d: string %d of %s has frets 1 to %d", n.Fret, n.String, b.Name, len(b.Strings[i].Frets))
	case n.Harmonic != 0 && (n.Harmonic < 2 || n.Harmonic > maxHarmonic || n.Fret != 0):
		return fmt.Errorf("harmonic %d of string %d: want 2 to %d, and no fret with it", n.Harmonic, n.String, maxHarmonic)
	}
	return nil
}

// ratio returns the wanted pitch of n over that of its open string, without stiffness.
func (b *Board) ratio(n Note) float64 {
	switch {
	case n.Harmonic > 0:
		return float64(n.Harmonic)
	case n.Fret > 0:
		i, _ := b.at(n.String)
		return b.Strings[i].Frets[n.Fret-1].Ratio()
	}
	return 1
}

// Hz returns the pitch that n should have on an instrument in tune.
func (b *Board) Hz(n Note) float64 {
	i, _ := b.at(n.String)
	return b.Strings[i].OpenHz * b.ratio(n)
}

// Label names the pitch of n.
func (b *Board) Label(n Note) string {
	i, _ := b.at(n.String)
	s := &b.Strings[i]
	switch {
	case n.Harmonic > 0:
		return fmt.Sprintf("%d × %s", n.Harmonic, s.Label)
	case n.Fret > 0:
		return s.Frets[n.Fret-1].Label
	}
	return s.Label
}

// A Pluck is the pitch of one note played once, read over the same span after the onset as all
// others.
type Pluck struct {
	F1Hz       float64 `json:"f1_hz"` // partial 1 under the law of the stiff string
	SigmaCents float64 `json:"f1_sigma_cents"`
	B          float64 `json:"inharmonicity"`
	BSigma     float64 `json:"inharmonicity_sigma"`
	SNRdB      float64 `json:"snr_db"`
	Source     string  `json:"source,omitempty"` // file, or empty when played
	AtS        float64 `json:"start_s"`          // of the onset in the source
}

// valid says whether a pluck can be reckoned with.
func (p Pluck) valid() bool {
	return p.F1Hz > 0 && p.SigmaCents >= 0 && !math.IsInf(p.F1Hz, 0) && !math.IsInf(p.SigmaCents, 0) &&
		!math.IsNaN(p.B) && !math.IsNaN(p.BSigma)
}

// Cents returns the size of the interval a/b.
func Cents(a, b float64) float64 { return stiffstring.Cents(a, b) }
