package evidence

import (
	"context"
	"math"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
)

// A bowed string speaks and swells for half a second. Its pitch wavers by some cents meanwhile (the manifest has
// 2.8 between its first 0.3 s and the reference), but no live reading runs off with a partial that fades: the
// lowest two of this violin are 28 and 14 dB below the third. The reference is the manifest's.
func TestLiveReadingsOfABowedOnset(t *testing.T) {
	const until, within = 0.9, 10 // s, cents
	clips, err := readClips()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range clips {
		if c.File != "violin-G3.flac" {
			continue
		}
		src, err := capture.Open(context.Background(), c.path(), capture.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		rate := float64(src.SampleRate())
		tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, 512)
		var at int64
		read, worst, sigma := 0, 0.0, 0.0
		for float64(at) < until*rate {
			b, err := src.Read(context.Background(), x)
			if err != nil {
				t.Fatal(err)
			}
			at = b.Start + int64(len(b.Samples))
			tracker.Push(b.Samples, b.Start, func(r *pitch.Reading) {
				if r.State != pitch.Sounding {
					return
				}
				read++
				if off := cents(r.F1Hz, c.RefHz); math.Abs(off) > math.Abs(worst) {
					worst, sigma = off, r.SigmaCents
				}
			})
		}
		if read < 40 || math.Abs(worst) > within {
			t.Errorf("%s: of %d readings up to %g s one is %+.1f ± %.1f cents off the reference, want within %d", c.File, read, until, worst, sigma, within)
		}
		return
	}
	t.Fatal("the recording is missing")
}
