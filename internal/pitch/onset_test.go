package pitch

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tunerd/internal/sound"
)

// TestOnsetOfAPluck renders plucks in noise 20 dB below the string, an expected low B and low E, so that the
// sample at which the string begins is known: a live note begins within a frame of it, most within a
// millisecond, for of the first two periods every millisecond counts.
func TestOnsetOfAPluck(t *testing.T) {
	const fs, trials = 48000.0, 100
	for _, hz := range []float64{30.868, 82.407} {
		var late []float64
		for i := range trials {
			rng := rand.New(rand.NewPCG(uint64(i), 5))
			x := make([]float64, int(0.4*fs))
			at := int((0.25 + 0.05*rng.Float64()) * fs)
			s := sound.String(hz)
			s.Voice(fs, rng).Add(x, -float64(at)/fs)
			var power float64
			for _, v := range x[at+int(0.05*fs):] {
				power += v * v / (float64(len(x)-at) - 0.05*fs)
			}
			for i := range x {
				x[i] += 0.1 * math.Sqrt(power) * rng.NormFloat64()
			}
			tracker, err := NewTracker(Config{SampleRate: fs, Live: true})
			if err != nil {
				t.Fatal(err)
			}
			tracker.Expect(hz/2, []float64{hz})
			for from := 0; from < len(x) && tracker.phase != tracking; from += 128 {
				tracker.Push(x[from:from+128], int64(from), nil)
			}
			if tracker.phase != tracking {
				t.Fatalf("%g Hz, trial %d: no note", hz, i)
			}
			late = append(late, 1000*(float64(tracker.note.Bank.First)-float64(at))/fs)
		}
		slices.Sort(late)
		if most := max(-late[0], late[trials-1]); most > 4 {
			t.Errorf("%g Hz: begins up to %.2f ms beside the onset", hz, most)
		}
		if p5, p95 := late[trials/20], late[trials-trials/20-1]; p5 < -1 || p95 > 1.2 {
			t.Errorf("%g Hz: nine in ten begin from %.2f to %.2f ms after the onset", hz, p5, p95)
		}
		t.Logf("%g Hz: begins %.2f to %.2f ms after the onset, median %.2f", hz, late[0], late[trials-1], late[trials/2])
	}
}
