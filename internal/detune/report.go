package detune

import (
	"cmp"
	"math"
	"slices"
)

// A ChordReport says what a plan does to a chord.
type ChordReport struct {
	Chord    Chord
	Pairs    []PairReport
	Partials []Coincidence // of all pairs up to partial 16, the loudest first
}

// A PairReport is two notes of a chord, before and after the plan.
type PairReport struct {
	Low, High               int     // strings, from 1; Low has the lower of the two ratios
	Ratio                   string  // of High over Low, as it should be
	N, M                    int     // partial N of Low and M of High coincide; 0: none below partial 17
	CentsBefore, CentsAfter float64 // of partials 1 against the ratio; positive is wide
	BeatBefore, BeatAfter   float64 // of the lowest coincident partials; NaN if there are none
	HzAfter                 float64 // where they are, of Low; NaN if there are none
}

// A Coincidence is two partials of a chord that should meet.
type Coincidence struct {
	Low, High             int // strings
	N, M                  int // partial N of Low, partial M of High
	Hz                    float64
	LevelDB               float64 // of the weaker one against partial 1 of its string, at amplitudes of 1/k
	BeatBefore, BeatAfter float64
}

// Worst returns the largest error of the pairs in cents, before and after.
func (r *ChordReport) Worst() (before, after float64) {
	for _, p := range r.Pairs {
		before, after = max(before, math.Abs(p.CentsBefore)), max(after, math.Abs(p.CentsAfter))
	}
	return before, after
}

// FastestBeat returns the fastest beat of the lowest coincident partials of any pair, before and
// after; NaN if no pair has any.
func (r *ChordReport) FastestBeat() (before, after float64) {
	before, after = math.NaN(), math.NaN()
	for _, p := range r.Pairs {
		if p.N > 0 {
			before, after = fmax(before, p.BeatBefore), fmax(after, p.BeatAfter)
		}
	}
	return before, after
}

// fmax is the larger, passing over NaN in a.
func fmax(a, b float64) float64 {
	if a > b {
		return a
	}
	return b
}

// RMS returns the root mean square of the errors of all pairs in cents, before and after.
func (r *ChordReport) RMS() (before, after float64) {
	for _, p := range r.Pairs {
		before += p.CentsBefore * p.CentsBefore
		after += p.CentsAfter * p.CentsAfter
	}
	n := float64(len(r.Pairs))
	return math.Sqrt(before / n), math.Sqrt(after / n)
}

// Loss returns by how many cents the RMS error of the chord grows; below 0 the chord gains.
func (r *ChordReport) Loss() float64 {
	before, after := r.RMS()
	return after - before
}

// Report tells what the plan does to a chord. Beats are those of stiff strings where the inharmonicity of both
// is known, else of harmonic ones.
func (p *Plan) Report(c Chord) ChordReport {
	problem := p.problem()
	r := ChordReport{Chord: c}
	sounds := make([]soundingNote, len(c.Notes))
	for i, n := range c.Notes {
		sounds[i] = p.sounding(&problem, n)
	}
	for i := range sounds {
		for k := i + 1; k < len(sounds); k++ {
			low, high := &sounds[i], &sounds[k]
			if high.Wanted.Cents() < low.Wanted.Cents() {
				low, high = high, low
			}
			r.addPair(low, high)
		}
	}
	slices.SortStableFunc(r.Partials, func(a, b Coincidence) int {
		return cmp.Or(cmp.Compare(b.LevelDB, a.LevelDB), cmp.Compare(math.Max(b.BeatBefore, b.BeatAfter), math.Max(a.BeatBefore, a.BeatAfter)))
	})
	return r
}

// A soundingNote is a note before and after the plan.
type soundingNote struct {
	Note
	hz, b [2]float64
}

func (p *Plan) sounding(problem *Problem, n Note) soundingNote {
	fret := math.Exp2(fretCents(&p.Instrument.Strings[n.String-1], n.Fret) / 1200)
	s := soundingNote{Note: n}
	for when, open := range [2]float64{p.NowHz(n.String), p.AfterHz(n.String)} {
		s.hz[when] = open * fret
		s.b[when] = problem.noteB(n, open)
	}
	return s
}

// beat returns the rate at which partial n of a and m of b beat, before and after, and the place of
// the former.
func beat(a, b *soundingNote, n, m int) (rate [2]float64, hz float64) {
	for when := range rate {
		ba, bb := a.b[when], b.b[when]
		if !(ba > 0 && bb > 0) {
			ba, bb = 0, 0
		}
		hz = partial(a.hz[when], ba, n)
		rate[when] = math.Abs(hz - partial(b.hz[when], bb, m))
	}
	return rate, hz
}

func (r *ChordReport) addPair(low, high *soundingNote) {
	iv := high.Wanted.Sub(low.Wanted)
	off := [2]float64{}
	for when := range off {
		off[when] = 1200*math.Log2(high.hz[when]/low.hz[when]) - iv.Cents()
	}
	pair := PairReport{Low: low.String, High: high.String, Ratio: iv.String(), CentsBefore: off[0], CentsAfter: off[1],
		BeatBefore: math.NaN(), BeatAfter: math.NaN(), HzAfter: math.NaN()}
	if meet, ok := meetingOf(low.Wanted, high.Wanted); ok {
		rate, hz := beat(low, high, meet.n, meet.m)
		pair.N, pair.M = meet.n, meet.m
		pair.BeatBefore, pair.BeatAfter, pair.HzAfter = rate[0], rate[1], hz
		for q := 1; q*max(meet.n, meet.m) <= topPartial; q++ {
			rate, hz := beat(low, high, q*meet.n, q*meet.m)
			r.Partials = append(r.Partials, Coincidence{Low: low.String, High: high.String, N: q * meet.n, M: q * meet.m, Hz: hz,
				LevelDB: -20 * math.Log10(float64(q*max(meet.n, meet.m))), BeatBefore: rate[0], BeatAfter: rate[1]})
		}
	}
	r.Pairs = append(r.Pairs, pair)
}
