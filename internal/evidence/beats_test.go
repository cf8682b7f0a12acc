package evidence

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/beats"
	"tunerd/internal/capture"
)

// TestBeatsOfMixedRecordings mixes every two plucked or struck recordings whose partials, as another
// method measured them (testdata/wav/partials.json), coincide within 0.2 to 12 Hz, and measures how
// they beat. The meter is told the notes' names only. Counted are those pairs of which both are
// heard apart; an octave above a louder string is not, and its beats may be the other's own.
func TestBeatsOfMixedRecordings(t *testing.T) {
	clips, err := readClips()
	if err != nil {
		t.Fatal(err)
	}
	var all, good, told, right int
	for i := range clips {
		for j := range clips[:i] {
			a, b := clips[i], clips[j]
			if b.RefHz < a.RefHz {
				a, b = b, a
			}
			c, ok := mixable(a, b)
			if !ok {
				continue
			}
			want := c.UpperHz - c.LowerHz
			r, err := measureBeats(t, a, b, c)
			if err != nil {
				t.Logf("%-26s %-26s %d/%d at %6.1f Hz: %v", a.File, b.File, c.N, c.M, c.Hz(), err)
				continue
			}
			apart := r.Lower.Heard && r.Upper.Heard
			if apart {
				all++
			}
			// The reference is a mean over 0.3 to 2.0 s, good to about half a cent for a single partial.
			doubt := math.Hypot(r.SigmaHz, 0.5*c.Hz()*math.Ln2/1200)
			off := r.BeatHz - math.Abs(want)
			mark := ""
			switch {
			case !apart:
				mark = "  (one is not heard apart)"
			case math.Abs(off) <= 3*doubt:
				good++
			default:
				mark = "  OFF"
			}
			if r.Known {
				told++
				if r.Cents > 0 == (want > 0) {
					right++
				} else {
					mark += "  WRONG SIDE"
				}
			}
			t.Logf("%-26s %-26s %d/%d at %6.1f Hz: %7.3f ± %.3f, reference %7.3f (%s)%s", a.File, b.File, c.N, c.M, c.Hz(), r.BeatHz, r.SigmaHz, want, r.Method, mark)
		}
	}
	t.Logf("%d pairs, %d as the reference; side told of %d, right of %d", all, good, told, right)
	if all < 20 || float64(good) < 0.85*float64(all) {
		t.Errorf("%d of %d pairs beat as the reference says", good, all)
	}
	if told < 5 || float64(right) < 0.95*float64(told) {
		t.Errorf("side right %d times of %d", right, told)
	}
}

// mixable finds the plainest coincidence of two clips, whose partials are in the reference, both
// loud enough there and far enough from those of vibrato.
func mixable(a, b clip) (beats.Coincidence, bool) {
	if blown(a) || blown(b) {
		return beats.Coincidence{}, false
	}
	for _, c := range beats.Coincidences(nominal(a), nominal(b), 8, beats.DefaultWithin) {
		p, okA := a.partial(c.N)
		q, okB := b.partial(c.M)
		c.LowerHz, c.UpperHz = p.Hz, q.Hz
		rate := math.Abs(q.Hz - p.Hz)
		if okA && okB && p.DB > -30 && q.DB > -30 && rate > 0.2 && rate < 12 && c.Hz() < 2500 {
			return c, true
		}
	}
	return beats.Coincidence{}, false
}

func blown(c clip) bool {
	for _, word := range []string{"sax", "flute", "violin", "cello", "contrabass"} {
		if strings.Contains(c.File, word) {
			return true
		}
	}
	return false
}

func (c clip) partial(k int) (partial, bool) {
	for _, p := range c.Partials {
		if p.K == k {
			return p, true
		}
	}
	return partial{}, false
}

// nominal is the note of 12 equal steps that the clip is called by.
func nominal(c clip) beats.Tone {
	return beats.Tone{Label: c.File, Hz: 440 * math.Exp2(float64(c.Midi-69)/12)}
}

func measureBeats(t *testing.T, a, b clip, c beats.Coincidence) (beats.Measurement, error) {
	t.Helper()
	x, rateA := readClip(t, a)
	y, rateB := readClip(t, b)
	if rateA != rateB {
		t.Skipf("%s and %s differ in sample rate", a.File, b.File)
	}
	meter, err := beats.NewMeter(beats.MeterConfig{SampleRate: float64(rateA), Lower: nominal(a), Upper: nominal(b), N: c.N, M: c.M})
	if err != nil {
		t.Fatal(err)
	}
	mix := make([]float64, min(len(x), len(y), int(2.2*float64(rateA))))
	for i := range mix {
		mix[i] = x[i] + y[i]
	}
	meter.Push(mix)
	return meter.Measure()
}

// readClip reads a clip, brought to unit peak.
func readClip(t *testing.T, c clip) ([]float64, int) {
	t.Helper()
	src, err := capture.Open(context.Background(), filepath.Join(wavDir, c.File), capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var x []float64
	buf := make([]float64, 4096)
	for {
		block, err := src.Read(context.Background(), buf)
		x = append(x, block.Samples...)
		if err != nil {
			break
		}
	}
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	for i := range x {
		x[i] /= peak
	}
	return x, src.SampleRate()
}
