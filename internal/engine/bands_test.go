package engine

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// exactTurns is turnsAt in exact rational arithmetic.
func exactTurns(hz float64, at int64, rate int) float64 {
	x := new(big.Rat).SetFloat64(hz)
	x.Mul(x, big.NewRat(at, int64(rate)))
	whole := new(big.Int).Div(x.Num(), x.Denom())
	x.Sub(x, new(big.Rat).SetInt(whole))
	f, _ := x.Float64()
	return f
}

// turnsApart is the distance of two phases on the circle.
func turnsApart(a, b float64) float64 {
	d := math.Abs(a - b)
	return math.Min(d, 1-d)
}

func TestTurnsAtAgreesWithRationals(t *testing.T) {
	const day = 24 * 3600
	for _, rate := range []int{8000, 44100, 48000, 96000, 192000} {
		for _, hz := range []float64{16.3516, 82.4068892282, 7 * 110.1234567, 440, 4999.999999, 34986.1} {
			for _, at := range []int64{0, 1, 511, int64(rate) - 1, 3600*int64(rate) + 12345, day*int64(rate) + 777} {
				got, want := turnsAt(hz, at, rate), exactTurns(hz, at, rate)
				if got < 0 || got >= 1 {
					t.Errorf("turnsAt(%v, %d, %d) = %v, want it in [0, 1)", hz, at, rate, got)
				}
				// A day's 86400 s cost q·s at most 86400 half-units of 2^-53, rounded up.
				if d := turnsApart(got, want); d > 2e-11 {
					t.Errorf("turnsAt(%v, %d, %d) = %v, want %v (off by %.2g turns)", hz, at, rate, got, want, d)
				}
			}
		}
	}
}

// A partial that is sharp by 0.25 Hz moves its band up by a quarter turn a second, also after an
// hour and a day of session.
func TestBandMovesByTheDifference(t *testing.T) {
	const rate, target, sharp = 48000, 110.123, 0.25
	for _, n := range []int{1, 4, 7} {
		for _, hours := range []int64{0, 1, 24} {
			for _, stretch := range []float64{1, 1 + 400e-6, 1 - 100e-6} { // a card whose clock is off
				t.Run(fmt.Sprintf("partial=%d/hours=%d/stretch=%g", n, hours, stretch), func(t *testing.T) {
					hz := float64(n)*target + sharp
					st := strobe{rate: rate, stretch: stretch, rows: display.StringRows}
					phase := func(at int64) float64 {
						heard := exactTurns(hz/stretch, at, rate)
						r := pitch.Reading{Result: pitch.Result{At: at, Partials: []pitch.Partial{{N: n, Hz: hz, PhaseTurns: heard}}}}
						return st.append(nil, &r, target, []int{n})[0].PhaseTurns
					}
					at := hours * 3600 * rate
					moved := wrapTurns(phase(at+rate) - phase(at))
					if want := sharp / stretch; turnsApart(moved, want) > 1e-6 {
						t.Errorf("moved by %.7f turns in a second of the card, want %v", moved, want)
					}
				})
			}
		}
	}
}

func TestBandsFollowTheWantedPartials(t *testing.T) {
	r := pitch.Reading{Result: pitch.Result{Partials: []pitch.Partial{
		{N: 1, Hz: 110.5, LevelDB: -12}, {N: 3, Hz: 329, LevelDB: -20}, {N: 6, Hz: 660, LevelDB: -30},
	}}}
	st := strobe{rate: 48000, stretch: 1}
	got := st.append(nil, &r, 110, []int{1, 2, 3})
	if len(got) != 3 {
		t.Fatalf("%d bands, want 3", len(got))
	}
	if got[0].DriftHz != 0.5 || !got[0].Clear || got[0].LevelDB != -12 {
		t.Errorf("band of partial 1: %+v, want drift +0.5 Hz at -12 dB, clear", got[0])
	}
	if got[1].Clear || got[1].LevelDB != hiddenDB {
		t.Errorf("band of an unheard partial: %+v, want it not clear", got[1])
	}
	if got[2].DriftHz != -1 {
		t.Errorf("band of partial 3 drifts %v Hz, want -1 (329 against 330)", got[2].DriftHz)
	}
}

// stiffPartials are those of a string by Fletcher 1964, f_k = k·f0·√(1 + B·k²), whose partial 1 is at f1;
// their phases at sample at are those of oscillators that began with it.
func stiffPartials(f1, b float64, at int64, rate int) []pitch.Partial {
	var all []pitch.Partial
	for k := 1; k <= 8; k++ {
		hz := float64(k) * f1 / math.Sqrt(1+b) * math.Sqrt(1+b*float64(k*k))
		all = append(all, pitch.Partial{N: k, Hz: hz, PhaseTurns: exactTurns(hz, at, rate)})
	}
	return all
}

// A stiff string in tune: every row stands still, in its drift and in its measured phase. Against the
// exact harmonics the rows of this wound E2 drift by +0.03, +0.12 and +0.30 Hz: k·f·((k²-1)/2)·B to first order.
func TestRowsRestWhenAStiffStringIsInTune(t *testing.T) {
	const rate, f1, b = 48000, 82.407, 1.21e-4
	for _, c := range []struct {
		rows  display.Rows
		drift map[int]float64
	}{
		{display.StringRows, map[int]float64{1: 0, 2: 0, 3: 0, 4: 0, 7: 0}},
		{display.HarmonicRows, map[int]float64{1: 0, 2: 0.030, 3: 0.120, 4: 0.299, 7: 1.67}},
	} {
		st := strobe{rate: rate, stretch: 1, rows: c.rows}
		wanted := []int{1, 2, 3, 4, 7}
		bands := func(at int64) []display.Band {
			r := pitch.Reading{Result: pitch.Result{At: at, B: b, Partials: stiffPartials(f1, b, at, rate)}}
			return st.append(nil, &r, f1, wanted)
		}
		first := bands(rate)
		last := bands(3 * rate)
		for i, n := range wanted {
			want := c.drift[n]
			if math.Abs(last[i].DriftHz-want) > 0.01*want+1e-9 {
				t.Errorf("%s, partial %d drifts %+.4f Hz, want %+.3f", c.rows, n, last[i].DriftHz, want)
			}
			if moved := wrapTurns(last[i].PhaseTurns - first[i].PhaseTurns); turnsApart(moved, wrapTurns(2*want)) > 0.02*want+1e-6 {
				t.Errorf("%s, row %d moved %.4f turns in 2 s, want %.4f", c.rows, n, moved, 2*want)
			}
		}
	}
}

// The stiffness is measured anew all the time: no row may jump for that, even after an hour.
func TestRowsDoNotJumpWithTheStiffness(t *testing.T) {
	const rate, f1, b, hop = 48000, 82.407, 1.21e-4, 800
	st := strobe{rate: rate, stretch: 1, rows: display.StringRows}
	at, last := int64(3600*rate), math.NaN()
	for i := range 50 {
		r := pitch.Reading{Result: pitch.Result{At: at, B: b * (1 + 0.3*math.Sin(float64(i))), Partials: stiffPartials(f1, b, at, rate)}}
		phase := st.append(nil, &r, f1, []int{7})[0].PhaseTurns
		if jump := turnsApart(phase, last); jump > 0.02 { // 0.3 of 1.67 Hz for a hop of 1/60 s is 0.0084 turns
			t.Fatalf("reading %d: the row jumps by %.3f turns", i, jump)
		}
		last, at = phase, at+hop
	}
}

// The ratios are those of the harmonic series; that 31 equal steps hold 5/4 at step 10, 3/2 at
// step 18 and 7/4 at step 25 is in Huygens, Novus cyclus harmonicus (from memory).
func TestRatioBandsShowThePartialsOfTheRatio(t *testing.T) {
	for _, c := range []struct {
		tuning string
		step   int
		want   []int
	}{
		{"4:5:6:7", 0, []int{1, 2, 3, 4}},
		{"4:5:6:7", 1, []int{1, 2, 3, 4, 5}},
		{"4:5:6:7", 2, []int{1, 2, 3, 4}},
		{"4:5:6:7", 3, []int{1, 2, 3, 4, 7}},
		{"4:5:6:7", -1, []int{1, 2, 3, 4, 7}}, // 7/8 below the reference
		{"1/1 7/5", 1, []int{1, 2, 3, 4, 5, 7}},
		{"31edo", 10, []int{1, 2, 3, 4, 5}},
		{"31edo", 18, []int{1, 2, 3, 4}},
		{"31edo", 25 - 31, []int{1, 2, 3, 4, 7}},
		{"12edo", 1, []int{1, 2, 3, 4}}, // a semitone is near no ratio so simple
	} {
		tuning, err := targets.ParseTuning(c.tuning)
		if err != nil {
			t.Fatal(err)
		}
		bands := RatioBands(tuning)
		for range 2 { // the second answer comes from memory
			if got := bands(targets.Target{Step: c.step}); !slices.Equal(got, c.want) {
				t.Errorf("%s step %d: partials %v, want %v", c.tuning, c.step, got, c.want)
			}
		}
	}
}

func TestWrapTurnsStaysBelowOne(t *testing.T) {
	for _, x := range []float64{-1e-17, 0, 1, -1, 2.25, -0.25, 1 - 1e-17} {
		if w := wrapTurns(x); w < 0 || w >= 1 {
			t.Errorf("wrapTurns(%v) = %v", x, w)
		}
	}
}
