package pitch

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"tunerd/internal/sound"
)

func TestNewTrackerErrors(t *testing.T) {
	for _, tc := range []struct {
		cfg  Config
		want []string // the value and the range that works
	}{
		{Config{SampleRate: 0}, []string{"0 Hz", "8000-192000"}},
		{Config{SampleRate: 7990}, []string{"7990", "8000-192000"}},
		{Config{SampleRate: 192200}, []string{"192200", "8000-192000"}},
		{Config{SampleRate: math.NaN()}, []string{"NaN", "8000-192000"}},
		{Config{SampleRate: math.Inf(1)}, []string{"Inf", "8000-192000"}},
		{Config{SampleRate: 48000, MinHz: 5}, []string{"5 to", "15 Hz"}},
		{Config{SampleRate: 48000, MinHz: -1}, []string{"-1 to", "15 Hz"}},
		{Config{SampleRate: 48000, MinHz: math.NaN()}, []string{"NaN", "15 Hz"}},
		{Config{SampleRate: 48000, MaxHz: 40000}, []string{"40000", "sample rate"}},
		{Config{SampleRate: 48000, MinHz: 400, MaxHz: 300}, []string{"400 to 300"}},
		{Config{SampleRate: 48000, Window: [2]float64{1, 0.5}}, []string{"1 to 0.5 s", "start < end"}},
		{Config{SampleRate: 48000, Window: [2]float64{-1, 0.5}}, []string{"-1 to 0.5 s", "0 <= start"}},
		{Config{SampleRate: 48000, Window: [2]float64{0, 1000}}, []string{"1000", "60"}},
		{Config{SampleRate: 48000, Window: [2]float64{math.NaN(), 1}}, []string{"NaN"}},
		{Config{SampleRate: 48000, Window: [2]float64{0, math.NaN()}}, []string{"NaN"}},
		{Config{SampleRate: 48000, Window: [2]float64{0.5, 0}}, []string{"0.5 to 0"}},
	} {
		_, err := NewTracker(tc.cfg)
		if err == nil {
			t.Errorf("%+v was accepted", tc.cfg)
			continue
		}
		for _, want := range tc.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%v: does not name %q", err, want)
			}
		}
		if strings.ContainsAny(err.Error(), "\n") {
			t.Errorf("%v: more than one line", err)
		}
	}
}

// A driver may hand over anything. It must not crash the tracker, nor deafen it for what follows.
func TestTrackerHearsAfterBadSamples(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, 1e200, 1e30, math.SmallestNonzeroFloat64} {
		for _, count := range []int{1, 1000, 30000} {
			t.Run(fmt.Sprintf("%g×%d", bad, count), func(t *testing.T) {
				t.Parallel()
				for _, live := range []bool{true, false} {
					s := newScene(4, testRate, -70, newRand(1))
					for i := range count {
						s.x[60000+i] = bad
					}
					s.pluck(sound.String(110), 2.5, -20, newRand(2))
					h := listen(t, Config{Live: live}, s.x, 512)
					for _, r := range h.readings {
						finite(t, &r)
					}
					if len(h.notes) == 0 {
						t.Fatalf("live %v: deaf to a string 1.2 s later", live)
					}
					within(t, fmt.Sprintf("live %v", live), h.notes[len(h.notes)-1].Reading, 110, 0.3)
				}
			})
		}
	}
}

// finite fails if any number of a reading is not one.
func finite(t *testing.T, r *Reading) {
	t.Helper()
	numbers := []float64{r.F1Hz, r.SigmaCents, r.AttackF1Hz, r.Partial1Hz, r.B, r.BSigma, r.SNRdB, r.LevelDB, r.WindowS}
	for _, p := range r.Partials {
		numbers = append(numbers, p.Hz, p.OffCents, p.SigmaCents, p.LevelDB, p.PhaseTurns)
		if !(p.PhaseTurns >= 0 && p.PhaseTurns <= 1) {
			t.Fatalf("phase of partial %d is %g turns, want [0, 1)", p.N, p.PhaseTurns)
		}
	}
	for i, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("number %d of the reading at %d is %g: %+v", i, r.At, v, *r)
		}
	}
	if r.State == Sounding && !(r.F1Hz > 0 && r.SigmaCents >= 0) {
		t.Fatalf("sounding reading of %g ± %g at %d", r.F1Hz, r.SigmaCents, r.At)
	}
}

// FuzzTracker feeds any samples in any blocks with any gaps.
func FuzzTracker(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8}, uint16(100), true, int64(0))
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0xf8, 0x7f, 1}, uint16(3), false, int64(7))
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\xf0\x7f\x00\x00\x00\x00\x00\x00\xe0\x3f"), uint16(700), true, int64(-9))
	f.Fuzz(func(t *testing.T, data []byte, block uint16, live bool, jump int64) {
		const most = 12000
		x := make([]float64, 0, most)
		// The bytes as float64, then over and over as a wave of bytes: a periodic sound.
		for i := 0; i+8 <= len(data) && len(x) < 4000; i += 8 {
			x = append(x, math.Float64frombits(binary.LittleEndian.Uint64(data[i:])))
		}
		for i := 0; len(data) > 0 && len(x) < most; i++ {
			x = append(x, (float64(data[i%len(data)])-128)/256)
		}
		tracker, err := NewTracker(Config{SampleRate: testRate, Live: live, OnNote: func(n *Note) { finite(t, &n.Reading) }})
		if err != nil {
			t.Fatal(err)
		}
		at := int64(0)
		for i := 0; i < len(x); i += 1 + int(block) {
			chunk := x[i:min(i+1+int(block), len(x))]
			tracker.Push(chunk, at, func(r *Reading) { finite(t, r) })
			at += int64(len(chunk))
			if i > len(x)/2 && jump != 0 {
				at += jump
				jump = 0
			}
		}
		tracker.Flush()
	})
}
