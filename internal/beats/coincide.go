package beats

import (
	"cmp"
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// A Tone is one sounding note.
type Tone struct {
	Label string  `json:"label"`
	Hz    float64 `json:"hz"`            // partial 1
	B     float64 `json:"inharmonicity"` // 0: the partials are harmonic
}

// Partial returns the frequency in Hz of partial k by the law of the stiff string.
func (t Tone) Partial(k int) float64 { return stiffstring.PartialHz(t.Hz, t.B, k) }

// A Coincidence is a partial of the lower and one of the upper of two notes that lie near one
// another. They beat |UpperHz − LowerHz| times a second.
type Coincidence struct {
	N, M             int     // partial N of the lower note, M of the upper one: an interval near N/M
	LowerHz, UpperHz float64 // where they lie
}

// At returns the coincidence of partial n of the lower with partial m of the upper note, however
// far apart they are.
func At(lower, upper Tone, n, m int) Coincidence {
	return Coincidence{N: n, M: m, LowerHz: lower.Partial(n), UpperHz: upper.Partial(m)}
}

// BeatHz returns the beats a second, with the sign of the interval's error: positive where it is
// wide of the interval at which these partials stand still.
//
// Source: H. von Helmholtz, On the Sensations of Tone, ch. VIII and X (from memory).
func (c Coincidence) BeatHz() float64 { return c.UpperHz - c.LowerHz }

// Cents returns by how much the interval is wide: turning the upper note down by so much, or the
// lower one up, stops the beats.
func (c Coincidence) Cents() float64 { return stiffstring.Cents(c.UpperHz, c.LowerHz) }

// Hz returns the pitch at which the beats are heard: midway between the partials.
func (c Coincidence) Hz() float64 { return (c.LowerHz + c.UpperHz) / 2 }

// Limits of a search for coincidences.
const (
	DefaultPartials = 16   // partials of each note
	DefaultWithin   = 50.0 // cents between two partials that are taken to belong together
)

// costCents is how many cents of error weigh as much as doubling N·M in [Coincidences]: our own
// choice. It names the intervals of 12 equal steps as piano tuners do.
const costCents = 25

// Coincidences returns where partials 1 to most of the two notes lie within so many cents of one
// another, the plainest first: ordered by N·M·2^(|cents|/25), as low partials are the loud ones
// and a near miss is more likely what is meant than a far one. lower is at or below upper.
func Coincidences(lower, upper Tone, most int, within float64) []Coincidence {
	var all []Coincidence
	for n := 1; n <= most; n++ {
		for m := 1; m <= n; m++ {
			if c := At(lower, upper, n, m); math.Abs(c.Cents()) <= within {
				all = append(all, c)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Coincidence) int { return cmp.Compare(a.cost(), b.cost()) })
	return all
}

func (c Coincidence) cost() float64 {
	return float64(c.N*c.M) * math.Exp2(math.Abs(c.Cents())/costCents)
}

// A Pair is two notes of several, by their place, and where their partials coincide.
type Pair struct {
	Lower, Upper Tone
	I, J         int // places of the lower and the upper note
	Found        []Coincidence
}

// FastestHz is where beats have long become roughness (Helmholtz, ch. X, finds it worst near 33
// a second; from memory).
const FastestHz = 33

func rough(c Coincidence) bool { return math.Abs(c.BeatHz()) > FastestHz }

// Beating returns the plainest coincidence, and those others that beat rather than sound rough; and
// how many are left out.
func (p *Pair) Beating() (found []Coincidence, left int) {
	if len(p.Found) == 0 {
		return nil, 0
	}
	found = append(found, p.Found[0])
	for _, c := range p.Found[1:] {
		if !rough(c) {
			found = append(found, c)
		}
	}
	return found, len(p.Found) - len(found)
}

// Pairs returns every pair of the notes, in their order, with all coincidences of each.
func Pairs(tones []Tone, most int, within float64) []Pair {
	var all []Pair
	for i := range tones {
		for j := i + 1; j < len(tones); j++ {
			p := Pair{I: i, J: j}
			if tones[j].Hz < tones[i].Hz {
				p.I, p.J = j, i
			}
			p.Lower, p.Upper = tones[p.I], tones[p.J]
			p.Found = Coincidences(p.Lower, p.Upper, most, within)
			all = append(all, p)
		}
	}
	return all
}

// PairsOf returns every pair of the notes with the one coincidence that stands for their interval in
// a chord in which note i is number numbers[i]: for 4 and 5, partials 5 and 4.
func PairsOf(tones []Tone, numbers []int) []Pair {
	all := Pairs(tones, 0, 0)
	for i := range all {
		p := &all[i]
		n, m := numbers[p.J], numbers[p.I]
		g := gcd(n, m)
		p.Found = []Coincidence{At(p.Lower, p.Upper, n/g, m/g)}
	}
	return all
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// A Row of a table of beat rates is one lower note with an upper note for each interval.
type Row struct {
	Lower Tone
	Cells []Cell
}

// A Cell is one interval above the lower note of its row.
type Cell struct {
	Upper Tone
	Coincidence
}

// Table returns the beat rates of the intervals n/m above each of the lower notes, as tuners of
// keyboards list them: nearest gives the note of the tuning nearest to a pitch in Hz.
func Table(lower []Tone, intervals [][2]int, nearest func(hz float64) Tone) []Row {
	rows := make([]Row, len(lower))
	for i, low := range lower {
		rows[i].Lower = low
		for _, nm := range intervals {
			up := nearest(low.Hz * float64(nm[0]) / float64(nm[1]))
			rows[i].Cells = append(rows[i].Cells, Cell{up, At(low, up, nm[0], nm[1])})
		}
	}
	return rows
}

// Fretted returns the inharmonicity of a string of inharmonicity b when a fret that many cents
// above the open string shortens it: B grows as 1/length², since B = π³·E·d⁴/(64·T·L²) and the
// fretted string keeps its tension but for the little that pressing adds.
func Fretted(b, cents float64) float64 { return b * math.Exp2(2*cents/1200) }
