package detune

import (
	"cmp"
	"math"
	"slices"

	"tunerd/internal/beats"
	"tunerd/internal/stiffstring"
)

// A ChordReport says what a plan does to a chord.
type ChordReport struct {
	Chord    Chord
	Pairs    []PairReport
	Partials []Coincidence // of all pairs up to partial 16, the loudest first
}

// A PairReport is two notes of a chord, before and after the plan.
type PairReport struct {
	Low         int     `json:"low"`          // string, from 1, of the lower of the two ratios
	High        int     `json:"high"`         // the other string
	Ratio       string  `json:"ratio"`        // of High over Low, as it should be
	N           int     `json:"low_partial"`  // partial N of Low
	M           int     `json:"high_partial"` // coincides with M of High; 0: none below partial 17
	CentsBefore float64 `json:"cents_before"` // of partials 1 against the ratio; positive is wide
	CentsAfter  float64 `json:"cents_after"`  //
	BeatBefore  float64 `json:"beat_before"`  // of the lowest coincident partials; NaN if there are none
	BeatAfter   float64 `json:"beat_after"`   //
}

// A Coincidence is two partials of a chord that should meet.
type Coincidence struct {
	Low, High             int     // strings, from 1
	N, M                  int     // partial N of Low, partial M of High
	Hz                    float64 // midway between them, after the plan
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

// Worsens says whether the chord loses more than rounding.
func (r *ChordReport) Worsens() bool { return r.Loss() > missed }

// Improves says whether it gains.
func (r *ChordReport) Improves() bool { return r.Loss() < -missed }

// Report tells what the plan does to a chord. Beats are those of stiff strings where the
// inharmonicity of both is known, else of harmonic ones.
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
	tone [2]beats.Tone // B is NaN if it is not known
}

func (p *Plan) sounding(problem *Problem, n Note) soundingNote {
	fret := math.Exp2(fretCents(&p.Instrument.Strings[n.String-1], n.Fret) / 1200)
	s := soundingNote{Note: n}
	for when, open := range [2]float64{p.NowHz(n.String), p.AfterHz(n.String)} {
		s.tone[when] = beats.Tone{Hz: open * fret, B: problem.noteB(n, open)}
	}
	return s
}

// meet returns where partial n of a and m of b lie, before and after.
func meet(a, b *soundingNote, n, m int) (all [2]beats.Coincidence) {
	for when := range all {
		low, high := a.tone[when], b.tone[when]
		if !(low.B > 0 && high.B > 0) {
			low.B, high.B = 0, 0
		}
		all[when] = beats.At(low, high, n, m)
	}
	return all
}

func (r *ChordReport) addPair(low, high *soundingNote) {
	iv := high.Wanted.Sub(low.Wanted)
	pair := PairReport{Low: low.String, High: high.String, Ratio: iv.String(), BeatBefore: math.NaN(), BeatAfter: math.NaN()}
	off := [2]float64{}
	for when := range off {
		off[when] = stiffstring.Cents(high.tone[when].Hz, low.tone[when].Hz) - iv.Cents()
	}
	pair.CentsBefore, pair.CentsAfter = off[0], off[1]
	if at, ok := meetingOf(low.Wanted, high.Wanted); ok {
		lowest := meet(low, high, at.n, at.m)
		pair.N, pair.M = at.n, at.m
		pair.BeatBefore, pair.BeatAfter = math.Abs(lowest[0].BeatHz()), math.Abs(lowest[1].BeatHz())
		for q := 1; q*max(at.n, at.m) <= topPartial; q++ {
			r.addCoincidence(low, high, q*at.n, q*at.m)
		}
	}
	r.Pairs = append(r.Pairs, pair)
}

func (r *ChordReport) addCoincidence(low, high *soundingNote, n, m int) {
	c := meet(low, high, n, m)
	r.Partials = append(r.Partials, Coincidence{Low: low.String, High: high.String, N: n, M: m, Hz: c[1].Hz(),
		LevelDB: -20 * math.Log10(float64(max(n, m))), BeatBefore: math.Abs(c[0].BeatHz()), BeatAfter: math.Abs(c[1].BeatHz())})
}
