package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// onlyNote returns the one note that was heard.
func onlyNote(t *testing.T, h hearing) Note {
	t.Helper()
	if len(h.notes) != 1 {
		t.Fatalf("seed %d: %d notes, want 1: %v", testSeed, len(h.notes), brief(h.notes))
	}
	return h.notes[0]
}

// brief lists notes for a failure line.
func brief(notes []Note) string {
	s := ""
	for _, n := range notes {
		s += fmt.Sprintf("[samples %d-%d: %.3f Hz ± %.3f cents] ", n.Start, n.End, n.F1Hz, n.SigmaCents)
	}
	return s
}

// within fails unless hz lies within tol cents of want, and σ is a number.
func within(t *testing.T, what string, r Reading, want, tol float64) {
	t.Helper()
	if c := stiffstring.Cents(r.F1Hz, want); !(math.Abs(c) <= tol) || !(r.SigmaCents >= 0) || math.IsInf(r.SigmaCents, 0) {
		t.Errorf("%s, seed %d: %+.3f ± %.3f cents, want within %g", what, testSeed, c, r.SigmaCents, tol)
	}
}

// bothModes runs a test for live and for whole-note tracking.
func bothModes(t *testing.T, f func(t *testing.T, live bool)) {
	for _, live := range []bool{true, false} {
		t.Run(fmt.Sprintf("live=%v", live), func(t *testing.T) { t.Parallel(); f(t, live) })
	}
}

// The synthesised string starts at a known instant; 30 ms is the bench's allowance for it.
func TestOnsetAndPitchOfAPluck(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{30.868, 55, 82.407, 196, 440, 880} {
			for _, level := range []float64{-10, -30, -50} {
				const at = 1.0003
				s := newScene(2.5, testRate, level-50, newRand(1))
				s.pluck(sound.String(hz), at, level, newRand(2))
				what := fmt.Sprintf("%g Hz at %g dB", hz, level)
				h := listen(t, Config{Live: live}, s.x, 512)
				n := onlyNote(t, h)
				within(t, what, n.Reading, hz, 0.1)
				if off := float64(n.Start)/testRate - at; math.Abs(off) > 0.03 {
					t.Errorf("%s: onset %+.1f ms beside the pluck, want within 30", what, 1000*off)
				}
				for _, r := range h.sounding() {
					if math.Abs(stiffstring.Cents(r.F1Hz, hz)) > 5*r.SigmaCents+3 {
						t.Errorf("%s: reading at %.3f s is %+.2f ± %.2f cents", what, float64(r.At)/testRate, stiffstring.Cents(r.F1Hz, hz), r.SigmaCents)
						break
					}
				}
			}
		}
	})
}

// A sub-block of the bank has an odd number of samples at most of these rates, and the time from an
// onset to the newest sample is no whole number of sub-blocks.
func TestSampleRates(t *testing.T) {
	for _, fs := range []float64{8000, 11025, 22050, 44100, 96000, 192000} {
		t.Run(fmt.Sprintf("rate=%g", fs), func(t *testing.T) {
			t.Parallel()
			for _, hz := range []float64{30.868, 82.407, 440, 880} {
				for _, live := range []bool{true, false} {
					s := newScene(2, fs, -70, newRand(1))
					s.pluck(sound.String(hz), 0.8003, -20, newRand(2))
					n := onlyNote(t, listen(t, Config{SampleRate: fs, Live: live}, s.x, 512))
					within(t, fmt.Sprintf("%g Hz, live %v", hz, live), n.Reading, hz, 0.05)
				}
			}
		})
	}
}

// A tone that is held is read for as long as it lasts, and none of its samples is lost on the way: its
// readings stay where it is. The truth is the frequency it is made with.
func TestHeldTone(t *testing.T) {
	for _, fs := range []float64{44100, 48000} {
		for i, hz := range []float64{41.2, 110, 110.7, 392} {
			s := newScene(9, fs, -80, newRand(uint64(i)))
			from := int((0.5 + 0.0013*float64(i)) * fs)
			for k := 1; k <= 12; k++ {
				for n := from; n < len(s.x); n++ {
					at := float64(n-from) / fs
					s.x[n] += 0.1 / float64(k) * (1 - math.Exp(-at/0.05)) * math.Sin(2*math.Pi*hz*float64(k)*at)
				}
			}
			h := listen(t, Config{SampleRate: fs, Live: true}, s.x, 512)
			what := fmt.Sprintf("%g Hz at %g samples a second", hz, fs)
			within(t, what, onlyNote(t, h).Reading, hz, 0.02)
			for _, r := range h.sounding() {
				if age := float64(r.At-int64(from)) / fs; age > 1 && math.Abs(stiffstring.Cents(r.F1Hz, hz)) > 0.02 {
					t.Errorf("%s: after %.2f s %+.4f ± %.4f cents", what, age, stiffstring.Cents(r.F1Hz, hz), r.SigmaCents)
					break
				}
			}
		}
	}
}

// A window of the note that lies long before its end is still to be had when the note ends.
func TestWindowOfANote(t *testing.T) {
	for _, hz := range []float64{30.868, 82.407, 880} {
		s := newScene(3, testRate, -70, newRand(1))
		spec := sound.String(hz)
		spec.Ramp = sound.Ramp{Start: 1.1, End: 1.2, Cents: 40} // after the window: must not count
		s.pluck(spec, 0.5, -20, newRand(2))
		n := onlyNote(t, listen(t, Config{Window: [2]float64{0.3, 1}}, s.x, 512))
		within(t, fmt.Sprintf("%g Hz", hz), n.Reading, hz, 0.1)
	}
}

// A string that glides by 8 cents has settled to within 0.01 cent after 1.4 s.
func TestGlideIsTakenOff(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{55, 110, 196, 329.628} {
			s := newScene(3, testRate, -70, newRand(1))
			spec := sound.String(hz)
			spec.GlideCents, spec.GlideTau = 8, 0.2
			s.pluck(spec, 0.8003, -20, newRand(2))
			n := onlyNote(t, listen(t, Config{Live: live}, s.x, 512))
			within(t, fmt.Sprintf("%g Hz settled", hz), n.Reading, hz, 0.3)
			// From 20 to 150 ms after the pluck the glide passes from 7.2 to 3.8 cents.
			if a := stiffstring.Cents(n.AttackF1Hz, hz); !(a > 3.8 && a < 7.2) {
				t.Errorf("%g Hz: attack read at %+.2f cents, want between 3.8 and 7.2", hz, a)
			}
		}
	})
}

// Readings of a gliding string must tell the settled pitch or admit that they do not.
func TestLiveReadingsOfAGlideAreHonest(t *testing.T) {
	t.Parallel()
	for _, hz := range []float64{55, 110, 329.628} {
		s := newScene(3, testRate, -70, newRand(1))
		spec := sound.String(hz)
		spec.GlideCents, spec.GlideTau = 8, 0.2
		s.pluck(spec, 0.8003, -20, newRand(2))
		for _, r := range listen(t, Config{Live: true}, s.x, 512).sounding() {
			at := float64(r.At)/testRate - 0.8003
			if c := stiffstring.Cents(r.F1Hz, hz); at > 0.5 && math.Abs(c) > 3*r.SigmaCents+0.1 {
				t.Errorf("%g Hz: %.2f s after the pluck %+.2f ± %.3f cents", hz, at, c, r.SigmaCents)
				break
			}
		}
	}
}

func TestTwoPlucks(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{30.868, 82.407, 196, 880} {
			for _, ratio := range []float64{1, 1.5} {
				s := newScene(3, testRate, -70, newRand(1))
				first := sound.String(hz)
				first.DampS = 0.97 // the finger stops the string before it plucks again
				s.pluck(first, 0.8003, -20, newRand(2))
				s.pluck(sound.String(hz*ratio), 1.8003, -20, newRand(3))
				h := listen(t, Config{Live: live}, s.x, 512)
				if len(h.notes) != 2 {
					t.Errorf("%g Hz, then ×%g: %d notes: %v", hz, ratio, len(h.notes), brief(h.notes))
					continue
				}
				within(t, fmt.Sprintf("%g Hz, first", hz), h.notes[0].Reading, hz, 0.3)
				within(t, fmt.Sprintf("%g Hz, then ×%g", hz, ratio), h.notes[1].Reading, hz*ratio, 0.3)
			}
		}
	})
}

// A string plucked while its neighbour rings on (a fourth below, as on guitars and basses) must
// not be taken for their common period, a twelfth below.
func TestPluckOverARingingNeighbour(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{41.203, 82.407, 110, 196} {
			s := newScene(3, testRate, -70, newRand(1))
			s.pluck(sound.String(hz), 0.8003, -20, newRand(2))
			s.pluck(sound.String(hz*4/3), 1.8003, -17, newRand(3))
			h := listen(t, Config{Live: live}, s.x, 512)
			for _, n := range h.notes {
				if lower, upper := math.Abs(stiffstring.Cents(n.F1Hz, hz)), math.Abs(stiffstring.Cents(n.F1Hz, hz*4/3)); min(lower, upper) > 3 {
					t.Errorf("%g Hz under its fourth: a note of %.3f Hz", hz, n.F1Hz)
				}
			}
		}
	})
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	t.Parallel()
	for _, fs := range []float64{44100, 48000} {
		for _, live := range []bool{true, false} {
			s := newScene(2, fs, -70, newRand(1))
			s.pluck(sound.String(110), 0.5, -20, newRand(2))
			want := onlyNote(t, listen(t, Config{SampleRate: fs, Live: live}, s.x, len(s.x)))
			for _, block := range []int{1, 479, 512, 4096} {
				got := onlyNote(t, listen(t, Config{SampleRate: fs, Live: live}, s.x, block))
				if got.F1Hz != want.F1Hz || got.SigmaCents != want.SigmaCents || got.Start != want.Start || got.End != want.End {
					t.Errorf("live %v: by %d samples %v, at once %v", live, block, brief([]Note{got}), brief([]Note{want}))
				}
			}
		}
	}
}

// While the peg is turned by a semitone the tracker tunes its bank anew from the samples it keeps,
// which begin anywhere; afterwards it must read the new pitch, and show its phase.
func TestTurnedPeg(t *testing.T) {
	for _, block := range []int{1, 479, 512} {
		s := newScene(4, testRate, -70, newRand(1))
		spec := sound.String(110)
		spec.Ramp = sound.Ramp{Start: 1, End: 1.6, Cents: 100}
		s.pluck(spec, 0.5, -20, newRand(2))
		h := listen(t, Config{Live: true}, s.x, block)
		last := h.sounding()[len(h.sounding())-1]
		want := 110 * math.Exp2(1.0/12)
		within(t, fmt.Sprintf("turned by a semitone, %d samples at a time", block), last, want, 0.05)
		first, turns := math.NaN(), 0.0
		for _, r := range h.sounding() {
			at := float64(r.At) / testRate
			if at < 3 || len(r.Partials) == 0 || r.Partials[0].N != 1 {
				continue
			}
			phase := r.Partials[0].PhaseTurns - math.Mod(want*at, 1)
			if math.IsNaN(first) {
				first = phase
			}
			turns = max(turns, math.Abs(math.Remainder(phase-first, 1)))
		}
		if turns > 0.01 {
			t.Errorf("%d samples at a time: the phase of partial 1 wanders by %.3f turns, want at most 0.01", block, turns)
		}
	}
}

// A string that fades into the silence of a recording ends once; what is left of it is no new note.
func TestFadingNoteEndsOnce(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, hz := range []float64{82.407, 220, 660} {
			s := newScene(6, testRate, -110, newRand(1))
			s.pluck(sound.String(hz), 0.0003, -20, newRand(2))
			within(t, fmt.Sprintf("%g Hz", hz), onlyNote(t, listen(t, Config{Live: live}, s.x, 512)).Reading, hz, 0.1)
		}
	})
}

// A low string whose lowest partial is hardly heard is known by the others, each of them vaguely, before its
// ninth period.
func TestWeakFundamentalIsReadSoon(t *testing.T) {
	const tries = 24
	for _, hz := range []float64{41.203, 58.27, 82.407} {
		late := 0
		for i := range uint64(tries) {
			const at = 0.5
			s := newScene(1.2, testRate, -45, newRand(i))
			spec := sound.String(hz)
			spec.HighPassHz = 6 * hz
			s.pluck(spec, at, -20, newRand(100+i))
			first := math.Inf(1)
			for _, r := range listen(t, Config{Live: true}, s.x, 512).sounding() {
				first = min(first, float64(r.At)/testRate-at)
				if off := stiffstring.Cents(r.F1Hz, hz); math.Abs(off) > 4*r.SigmaCents+2 {
					t.Errorf("%g Hz, seed %d/%d: %+.1f ± %.2f cents at %.3f s", hz, testSeed, i, off, r.SigmaCents, float64(r.At)/testRate-at)
					break
				}
			}
			if first*hz > 8 {
				late++
			}
		}
		if late > tries/8 {
			t.Errorf("%g Hz, seed %d: %d of %d first read after eight periods", hz, testSeed, late, tries)
		}
	}
}
