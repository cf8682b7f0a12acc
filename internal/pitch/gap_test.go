package pitch

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// A jump in the sample index: the note ends there, tracking begins afresh, and it is said once.
func TestGapEndsTheNote(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, jump := range []int64{1, 100, 48000, -500, 1 << 40} {
			s := newScene(3, testRate, -70, newRand(1))
			s.pluck(sound.String(110), 0.5, -20, newRand(2))
			var h hearing
			tracker, err := NewTracker(Config{SampleRate: testRate, Live: live, OnNote: func(n *Note) { h.notes = append(h.notes, *n) }})
			if err != nil {
				t.Fatal(err)
			}
			const cut = 72000
			tracker.Push(s.x[:cut], 0, h.keep)
			before := len(h.readings)
			tracker.Push(s.x[cut:], cut+jump, h.keep)
			tracker.Flush()
			for i, r := range h.readings {
				if r.AfterGap != (i == before) {
					t.Errorf("jump of %d: AfterGap %v in reading %d, the first behind the gap is %d", jump, r.AfterGap, i, before)
				}
				if i >= before && r.At <= cut+jump {
					t.Errorf("jump of %d: reading at %d lies before the gap's end", jump, r.At)
				}
			}
			if len(h.notes) == 0 || h.notes[0].End > cut {
				t.Fatalf("jump of %d: notes %v, want one that ends by sample %d", jump, brief(h.notes), cut)
			}
			for _, n := range h.notes {
				within(t, "beside a gap", n.Reading, 110, 0.3)
			}
		}
	})
}

// A stream may begin at any index: nothing was lost.
func TestStreamThatBeginsLate(t *testing.T) {
	t.Parallel()
	s := newScene(2, testRate, -70, newRand(1))
	s.pluck(sound.String(110), 0.5, -20, newRand(2))
	const begin = 123456789
	var h hearing
	tracker, err := NewTracker(Config{SampleRate: testRate, Live: true, OnNote: func(n *Note) { h.notes = append(h.notes, *n) }})
	if err != nil {
		t.Fatal(err)
	}
	tracker.Push(s.x, begin, h.keep)
	tracker.Flush()
	for _, r := range h.readings {
		if r.AfterGap {
			t.Fatal("the beginning counts as a gap")
		}
	}
	n := onlyNote(t, h)
	within(t, "late stream", n.Reading, 110, 0.05)
	if off := float64(n.Start-begin)/testRate - 0.5; math.Abs(off) > 0.03 {
		t.Errorf("onset %+.1f ms beside the pluck", 1000*off)
	}
}

// What is expected is tried first, but never taken for what sounds instead.
func TestExpectedPitchesFirst(t *testing.T) {
	bothModes(t, func(t *testing.T, live bool) {
		for _, expect := range [][]float64{
			nil,
			{110},
			{82.407, 110, 146.83},
			{110 * math.Exp2(40.0/1200)}, // 40 cents beside it
			{110 * math.Exp2(90.0/1200)}, // too far to be it
			{55, 220},                    // octaves are other pitches
		} {
			s := newScene(2.5, testRate, -70, newRand(1))
			s.pluck(sound.String(110), 0.5, -20, newRand(2))
			var h hearing
			tracker, err := NewTracker(Config{SampleRate: testRate, Live: live, OnNote: func(n *Note) { h.notes = append(h.notes, *n) }})
			if err != nil {
				t.Fatal(err)
			}
			tracker.Expect(0, expect)
			tracker.Push(s.x, 0, h.keep)
			tracker.Flush()
			within(t, fmt.Sprintf("expecting %v", expect), onlyNote(t, h).Reading, 110, 0.05)
		}
	})
}

// The same readings, hop by hop: about 10.7 ms apart at any sample rate, each at the newest sample.
func TestHopsAreRegular(t *testing.T) {
	for _, fs := range []float64{8000, 44100, 48000, 192000} {
		s := newScene(1, fs, -70, newRand(1))
		h := listen(t, Config{SampleRate: fs, Live: true}, s.x, 333)
		for i := 1; i < len(h.readings); i++ {
			hop := float64(h.readings[i].At-h.readings[i-1].At) / fs
			if math.Abs(hop-0.01067) > 0.001 {
				t.Fatalf("%g Hz: %.2f ms between readings, want about 10.7", fs, 1000*hop)
			}
		}
		if len(h.readings) < 90 {
			t.Errorf("%g Hz: %d readings a second", fs, len(h.readings))
		}
	}
}

// A tone drops out for a moment after its first instants and goes on from where it was, as a browser's does
// when it opens the microphone: with the silence in it a window looks as if every second partial alone
// sounded of a note an octave lower.
func TestDropOutAtTheBeginning(t *testing.T) {
	const hz, seconds, tries = 165.1, 1.2, 60
	for i := range tries {
		rng := newRand(uint64(i))
		s := newScene(seconds, testRate, -95, rng)
		begin := 1000 + rng.IntN(500)
		silent := begin + 400 + rng.IntN(200)
		again := silent + 480
		at := rng.Float64() / hz
		for n := begin; n < len(s.x); n++ {
			if n >= silent && n < again {
				continue
			}
			at += 1.0 / testRate
			for k := 1; k <= 6; k++ {
				s.x[n] += 0.3 / float64(k) * math.Sin(2*math.Pi*hz*float64(k)*at)
			}
		}
		h := listen(t, Config{Live: true}, s.x, 470)
		for _, r := range h.sounding() {
			if math.Abs(stiffstring.Cents(r.F1Hz, hz)) > 50 {
				t.Errorf("seed %d: %.2f Hz at %.3f s, want %g", i, r.F1Hz, float64(r.At)/testRate, hz)
				break
			}
		}
		n := onlyNote(t, h)
		within(t, fmt.Sprintf("drop-out %d", i), n.Reading, hz, 0.05+3*n.SigmaCents)
	}
}

// A string that already sounds when listening begins, at any moment of its life and in any phase: the first
// reading is of it, not of a note an octave lower or of any other.
func TestSoundThatIsAlreadyThere(t *testing.T) {
	const tries = 240
	for i := range tries {
		rng := newRand(uint64(2140 + i))
		hz := 61 * math.Pow(1400.0/61, rng.Float64())
		if rng.IntN(3) == 0 {
			hz = 31 + 17*rng.Float64() // what lies between, at 50 and 60 Hz, may be taken for hum
		}
		spec := sound.String(hz)
		spec.Pluck = []float64{0.08, 0.13, 0.25, 0.33, 0.5}[rng.IntN(5)]
		spec.RollOff = 1 + rng.Float64()
		if rng.IntN(3) == 0 {
			spec.HighPassHz = min(3*hz, 800)
		}
		s := newScene(1, testRate, -85+20*rng.Float64(), rng)
		began := 0.02 + 0.8*rng.Float64() // s before listening does
		s.pluck(spec, -began, -20, rng)
		if rng.IntN(2) == 0 { // an input that opens with silence, or drops out after its first instants
			from := rng.IntN(2) * rng.IntN(2000)
			clear(s.x[from : from+rng.IntN(1500)])
		}
		what := fmt.Sprintf("seed %d/%d: %.2f Hz, plucked at %g, %.2f s ago", testSeed, 2140+i, hz, spec.Pluck, began)
		sounding := listen(t, Config{Live: true}, s.x, 470).sounding()
		if len(sounding) == 0 {
			t.Errorf("%s: not read", what)
		}
		for _, r := range sounding {
			if off := stiffstring.Cents(r.F1Hz, hz); math.Abs(off) > 50 {
				t.Errorf("%s: %.2f Hz ± %.2f cents at %.3f s", what, r.F1Hz, r.SigmaCents, float64(r.At)/testRate)
				break
			}
		}
	}
}
