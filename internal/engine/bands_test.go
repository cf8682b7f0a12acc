package engine

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

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
					phase := func(at int64) float64 {
						heard := exactTurns(hz/stretch, at, rate)
						r := pitch.Reading{At: at, Partials: []pitch.Partial{{N: n, Hz: hz, PhaseTurns: heard}}}
						return appendBands(nil, &r, target, rate, stretch, []int{n})[0].PhaseTurns
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
	r := pitch.Reading{Partials: []pitch.Partial{
		{N: 1, Hz: 110.5, LevelDB: -12}, {N: 3, Hz: 329, LevelDB: -20}, {N: 6, Hz: 660, LevelDB: -30},
	}}
	got := appendBands(nil, &r, 110, 48000, 1, []int{1, 2, 3})
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
