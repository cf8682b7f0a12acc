package beats

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// A Series is the harmonic series that the notes of a chord stand in: note i is near
// Numbers[i]·RootHz.
type Series struct {
	RootHz  float64
	Numbers []int
}

const (
	// mostLowest is the largest number that [SeriesOf] gives to the lowest note.
	mostLowest = 16
	// seriesCents is how many cents of error weigh as much as doubling the numbers: our own choice,
	// under which the minor triad of 12 equal steps is 10:12:15 and its seventh chord 4:5:6:7.
	seriesCents = 20
)

// SeriesOf returns the plainest harmonic series near the notes: the lowest note has number p,
// every other the nearest whole number, and p up to 16 makes p·2^(worst cents/20) least.
func SeriesOf(tones []Tone) (Series, error) {
	if len(tones) == 0 {
		return Series{}, errors.New("a chord needs notes")
	}
	lowest := slices.MinFunc(tones, func(a, b Tone) int { return cmp.Compare(a.Hz, b.Hz) })
	var best Series
	least := math.Inf(1)
	for p := 1; p <= mostLowest; p++ {
		numbers := make([]int, len(tones))
		worst := 0.0
		for i, t := range tones {
			x := float64(p) * t.Hz / lowest.Hz
			numbers[i] = int(math.Round(x))
			worst = max(worst, math.Abs(stiffstring.Cents(x, float64(numbers[i]))))
		}
		if cost := float64(p) * math.Exp2(worst/seriesCents); cost < least {
			least, best.Numbers = cost, numbers
		}
	}
	return NewSeries(tones, best.Numbers)
}

// NewSeries returns the series in which the notes have the given numbers; its root is where the
// notes are off by as little as can be (least squares in cents).
func NewSeries(tones []Tone, numbers []int) (Series, error) {
	if len(tones) != len(numbers) || len(tones) == 0 {
		return Series{}, fmt.Errorf("%d notes cannot be %d parts of a chord", len(tones), len(numbers))
	}
	sum := 0.0
	for i, t := range tones {
		if numbers[i] < 1 || !(t.Hz > 0) {
			return Series{}, fmt.Errorf("a note of %g Hz cannot be harmonic %d", t.Hz, numbers[i])
		}
		sum += math.Log(t.Hz / float64(numbers[i]))
	}
	return Series{RootHz: math.Exp(sum / float64(len(tones))), Numbers: numbers}, nil
}

// nearest returns the harmonic nearest to hz, at least 1.
func (s Series) nearest(hz float64) int { return max(1, int(math.Round(hz/s.RootHz))) }

// A Term is one partial in a combination tone; Times is how often it counts, negative if
// subtracted.
type Term struct {
	Tone    int `json:"note"` // by its place in the chord
	Partial int `json:"partial"`
	Times   int `json:"times"`
}

// A CombinationTone is a tone that a bent transfer curve adds to a chord, at Σ Times·partial.
type CombinationTone struct {
	Terms    []Term  `json:"terms"`
	Order    int     `json:"order"` // 2 from the square term of the curve, which a symmetric one lacks; 3 from the cubic
	Hz       float64 `json:"hz"`
	Harmonic int     `json:"harmonic"` // of the chord's series, the nearest
	OffHz    float64 `json:"beat_hz"`  // beats a second against that harmonic; positive is sharp of it
	OffCents float64 `json:"off_cents"`
	weight   float64
}

// CombinationLimits say which combination tones are wanted.
type CombinationLimits struct {
	Partials int     // of each note; 0: the fundamental alone
	MinHz    float64 // lower ones are left out
}

// Combinations returns the difference tones of the partials of different notes of a chord, and
// how they stand to its series: f2 − f1 of order 2, 2·f1 − f2 and f1 + f2 − f3 of order 3. Sums,
// differences between partials of one note, and tones below MinHz are not among them.
//
// They come in the order of their strength for partials that fall as 1/k and a curve whose square
// and cubic terms are alike, x² + x³: a·b, ¾·a²·b and 3/2·a·b·c of the amplitudes. Real strengths
// depend on the strings and the drive; frequencies do not.
//
// Source: Helmholtz, On the Sensations of Tone, ch. VII and app. XII (from memory); the terms by
// multiplying out the powers of a sum of cosines.
func Combinations(tones []Tone, s Series, limits CombinationLimits) []CombinationTone {
	g := generator{tones: tones, series: s, minHz: max(limits.MinHz, leastHz)}
	lines := g.lines(max(1, limits.Partials))
	for i, a := range lines {
		for _, c := range lines {
			if c.Tone != a.Tone {
				g.add(1, a, minus(c))
			}
		}
		for _, b := range lines[i:] {
			for _, c := range lines {
				if c.Tone != a.Tone && c.Tone != b.Tone {
					g.addCubic(a, b, minus(c))
				}
			}
		}
	}
	slices.SortStableFunc(g.found, func(x, y CombinationTone) int { return cmp.Compare(y.weight, x.weight) })
	return g.found
}

// leastHz keeps out what is no tone but the beating of its parents, in Hz.
const leastHz = 1

// A generator gathers combination tones.
type generator struct {
	tones  []Tone
	series Series
	minHz  float64
	found  []CombinationTone
}

// lines returns the partials 1 to most of every tone.
func (g *generator) lines(most int) []Term {
	var all []Term
	for i := range g.tones {
		for k := 1; k <= most; k++ {
			all = append(all, Term{Tone: i, Partial: k, Times: 1})
		}
	}
	return all
}

func minus(t Term) Term {
	t.Times = -t.Times
	return t
}

// addCubic adds a + b + c, where a and b may be the same partial.
func (g *generator) addCubic(a, b, c Term) {
	if a == b {
		a.Times = 2
		g.add(0.75, a, c)
		return
	}
	g.add(1.5, a, b, c)
}

func (g *generator) add(weight float64, terms ...Term) {
	t := CombinationTone{Terms: terms, weight: weight}
	for _, term := range terms {
		times := max(term.Times, -term.Times)
		t.Order += times
		t.Hz += float64(term.Times) * g.tones[term.Tone].Partial(term.Partial)
		t.weight *= math.Pow(float64(term.Partial), -float64(times))
	}
	if t.Hz < g.minHz {
		return
	}
	t.Harmonic = g.series.nearest(t.Hz)
	pure := float64(t.Harmonic) * g.series.RootHz
	t.OffHz, t.OffCents = t.Hz-pure, stiffstring.Cents(t.Hz, pure)
	g.found = append(g.found, t)
}

// SlowHz is how fast a tone may beat against the chord's series and still be said to fit: about
// one beat a second sounds like the slow swelling of a tuned instrument (our own choice).
const SlowHz = 1.0

// Fits says whether the tone beats no faster than slow times a second against the chord's series.
func (t CombinationTone) Fits(slow float64) bool { return math.Abs(t.OffHz) <= slow }

// Pure returns the notes without beats at their places in the series, anchored by note i, which
// keeps its pitch: of every note the lowest partial that coincides with one of a note placed before
// it meets that one, the loudest coincidences (1/√(n·m), of low partials) first. Of n stiff strings
// n − 1 pairs can be made to meet; [Series.Left] tells what the others do. Notes without
// inharmonicity stand in whole numbers.
func (s Series) Pure(tones []Tone, i int) []Tone {
	pure := slices.Clone(tones)
	placed := make([]bool, len(tones))
	placed[i] = true
	for range len(tones) - 1 {
		from, to := s.loudest(placed)
		n, m := s.meeting(from, to)
		pure[to].Hz *= pure[from].Partial(n) / pure[to].Partial(m)
		placed[to] = true
	}
	return pure
}

// meeting returns the lowest partials, n of note i and m of note j, that coincide.
func (s Series) meeting(i, j int) (n, m int) {
	g := gcd(s.Numbers[i], s.Numbers[j])
	return s.Numbers[j] / g, s.Numbers[i] / g
}

// loudest returns the pair of a note that is placed and one that is not whose coincidence is the
// loudest, the first of several.
func (s Series) loudest(placed []bool) (from, to int) {
	least := math.MaxInt
	for i := range placed {
		for j := range placed {
			if !placed[i] || placed[j] {
				continue
			}
			if n, m := s.meeting(i, j); n*m < least {
				least, from, to = n*m, i, j
			}
		}
	}
	return from, to
}

// Left returns the pair of notes whose lowest coincident partials beat fastest, and how fast.
func (s Series) Left(tones []Tone) (i, j int, hz float64) {
	for a := range tones {
		for b := a + 1; b < len(tones); b++ {
			n, m := s.meeting(a, b)
			if rate := math.Abs(tones[a].Partial(n) - tones[b].Partial(m)); rate > hz {
				i, j, hz = a, b, rate
			}
		}
	}
	return i, j, hz
}
