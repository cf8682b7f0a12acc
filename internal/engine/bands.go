package engine

import (
	"math"
	"math/big"

	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/stiffstring"
	"tunerd/internal/targets"
)

// hiddenDB is the level shown for a partial that is not heard, dB re full scale.
const hiddenDB = -120

// bandSets are the partials that the strobe shows: always the first, and with them the partials
// 5 and 7 where the ratio needs them. The index has bit 0 set for 5 and bit 1 for 7.
var bandSets = [4][]int{{1, 2, 3, 4}, {1, 2, 3, 4, 5}, {1, 2, 3, 4, 7}, {1, 2, 3, 4, 5, 7}}

var plainBands = bandSets[0]

func fewBands(targets.Target) []int { return plainBands }

// A note of an equal division is taken for a ratio within this odd limit, such as 5/4 and 7/4
// but not 45/32, if that is so near.
const (
	bandOddLimit = 9
	bandReach    = 20 // cents
)

// RatioBands returns a function for Config.Bands: the partial numbers of the strobe for a note
// of t. Two notes in the ratio n:m meet in partial m of the upper and n of the lower one, so a
// note whose ratio to the reference note has a factor 5 or 7 shows partial 5 or 7 too. The ratio
// of a note that is none by itself is a simple one close by, if there is one.
//
// The function serves one goroutine.
func RatioBands(t *targets.Tuning) func(targets.Target) []int {
	known := map[int][]int{}
	return func(target targets.Target) []int {
		bands, ok := known[target.Step]
		if !ok {
			bands = ratioBands(t.Note(target.Step).Interval)
			known[target.Step] = bands
		}
		return bands
	}
}

func ratioBands(interval targets.Interval) []int {
	ratio, ok := interval.Rat()
	if !ok {
		nearest, off := targets.NearestRatio(interval.Cents(), bandOddLimit)
		if ratio, ok = nearest.Rat(); !ok || math.Abs(off) > bandReach {
			return plainBands
		}
	}
	product := new(big.Int).Mul(ratio.Num(), ratio.Denom())
	set := 0
	for bit, prime := range []int64{5, 7} {
		if new(big.Int).Rem(product, big.NewInt(prime)).Sign() == 0 {
			set |= 1 << bit
		}
	}
	return bandSets[set]
}

// A strobe makes the bands: the measured partials against those that they should have. What they are
// compared with runs on from one reading to the next, so that a pattern does not jump when another
// stiffness is measured: only its speed changes.
type strobe struct {
	rate    int     // nominal, Hz
	stretch float64 // true sample rate over the nominal one
	rows    display.Rows
	runs    [maxBand + 1]run // by partial number
}

// maxBand is the largest number of a partial that a band can show.
const maxBand = 16

// A run is what a partial is compared with, as an oscillator.
type run struct {
	at    int64   // sample
	turns float64 // its phase there, [0, 1)
}

// upTo carries the oscillator on at hz of the card's clock to sample at.
func (o *run) upTo(at int64, hz float64, rate int) float64 {
	if at < o.at {
		*o = run{}
	}
	o.turns = wrapTurns(o.turns + turnsAt(hz, at-o.at, rate))
	o.at = at
	return o.turns
}

// target returns the frequency that partial n is compared with: that of a string as stiff as the one
// that sounds, B, whose partial 1 is at targetHz, or the exact harmonic of it.
func (s *strobe) target(n int, targetHz, b float64) float64 {
	if s.rows == display.HarmonicRows || !(b > 0) {
		return float64(n) * targetHz
	}
	return stiffstring.PartialHz(targetHz, b, n)
}

// append appends a band for every partial number in wanted, 1 to maxBand, to dst. A partial that the
// tracker does not hold gives a band that is not Clear.
func (s *strobe) append(dst []display.Band, r *pitch.Reading, targetHz float64, wanted []int) []display.Band {
	for _, n := range wanted {
		band := display.Band{Partial: n, LevelDB: hiddenDB}
		if p := findPartial(r.Partials, n); p != nil && n <= maxBand {
			band.TargetHz = s.target(n, targetHz, r.B)
			band.PhaseTurns = wrapTurns(p.PhaseTurns - s.runs[n].upTo(r.At, band.TargetHz/s.stretch, s.rate))
			band.DriftHz = p.Hz - band.TargetHz
			band.LevelDB = p.LevelDB
			band.Clear = true
		}
		dst = append(dst, band)
	}
	return dst
}

func findPartial(partials []pitch.Partial, n int) *pitch.Partial {
	for i := range partials {
		if partials[i].N == n {
			return &partials[i]
		}
	}
	return nil
}

// turnsAt returns the phase in turns [0, 1) that an oscillator of hz, at phase 0 at sample 0,
// has at sample at of a clock of rate Hz.
//
// The product hz·at/rate grows without limit in a long session, so whole turns are dropped
// before they cost digits: at = s·rate + m with whole seconds s, hz = w + q with whole w, and
// hz·at/rate = w·s + q·s + (w·m)/rate + q·m/rate, where the first term is a whole number and
// the third is reduced in integers. What is left rounds to about s·1e-16 turns.
func turnsAt(hz float64, at int64, rate int) float64 {
	whole := math.Floor(hz)
	q := hz - whole
	s, m := at/int64(rate), at%int64(rate)
	r := int64(whole) * m % int64(rate)
	return wrapTurns(wrapTurns(q*float64(s)) + float64(r)/float64(rate) + q*float64(m)/float64(rate))
}

// wrapTurns returns x - floor(x), in [0, 1).
func wrapTurns(x float64) float64 {
	w := x - math.Floor(x)
	if w >= 1 { // a tiny negative x rounds up to 1
		return 0
	}
	return w
}
