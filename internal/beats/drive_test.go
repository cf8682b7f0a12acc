package beats

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tunerd/internal/sound"
)

// A spectrum of a sound under a Hann window.
type spectrum struct {
	amps []float64
	step float64 // Hz between two
}

func spectrumOf(x []float64, sampleRate float64) spectrum {
	n := 1 << 20
	padded := make([]float64, n)
	for i, v := range x {
		padded[i] = v * (1 - math.Cos(2*math.Pi*float64(i)/float64(len(x)))) / float64(len(x))
	}
	s := spectrum{step: sampleRate / float64(n)}
	for _, c := range fourier.NewFFT(n).Coefficients(nil, padded) {
		s.amps = append(s.amps, cmplx.Abs(c))
	}
	return s
}

// peakNear returns the highest line within so many Hz of hz, by a parabola through the logarithms.
func (s spectrum) peakNear(hz, within float64) (at, amp float64) {
	best := 0
	for i := int((hz - within) / s.step); float64(i)*s.step <= hz+within; i++ {
		if i > 0 && s.amps[i] > s.amps[best] {
			best = i
		}
	}
	a, b, c := math.Log(s.amps[best-1]), math.Log(s.amps[best]), math.Log(s.amps[best+1])
	return (float64(best) + (a-c)/(2*(a-2*b+c))) * s.step, s.amps[best]
}

// Driven chords show the difference tones as lines of their spectrum where they are predicted, to
// 0.1 Hz; the same chords without drive have nothing there. Looked at are those tones that keep 1.2
// Hz from all others up to the third order, sums and the chord's own partials included, so that it
// is they that are seen.
func TestDriveShowsTheDifferenceTones(t *testing.T) {
	const rate = 48000
	for _, tc := range []struct {
		timbre   sound.Timbre
		partials int
		tones    []Tone
		want     int // difference tones at least
	}{
		{sound.SineTimbre, 1, []Tone{{Hz: 220}, {Hz: 277.18}, {Hz: 329.63}}, 9},
		{sound.OrganTimbre, 8, []Tone{{Hz: 220}, {Hz: 277.18}}, 35},
	} {
		tones := tc.tones
		series, err := SeriesOf(tones)
		if err != nil {
			t.Fatal(err)
		}
		chord := sound.Chord{Timbre: tc.timbre, Seconds: 12}
		for _, tone := range tones {
			chord.Notes = append(chord.Notes, sound.ChordNote{Hz: tone.Hz})
		}
		clean, err := chord.Render(rate, rand.New(rand.NewPCG(3, 1)))
		if err != nil {
			t.Fatal(err)
		}
		driven := append([]float64(nil), clean...)
		if err := (sound.Drive{GainDB: 3, Bias: sound.DefaultBias}).Apply(driven, rate); err != nil {
			t.Fatal(err)
		}
		before, after := spectrumOf(clean, rate), spectrumOf(driven, rate)
		_, loudest := after.peakNear(220, 2)
		all := combined(tones, tc.partials)
		seen := 0
		for _, c := range Combinations(tones, series, CombinationLimits{Partials: min(3, tc.partials), MinHz: 20}) {
			if crowded(all, c.Hz) {
				continue
			}
			at, amp := after.peakNear(c.Hz, 0.5)
			_, quiet := before.peakNear(c.Hz, 0.5)
			if amp < 1e-5*loudest {
				continue // too weak to be found among what the fifth and higher orders add
			}
			seen++
			if math.Abs(at-c.Hz) > 0.1 {
				t.Errorf("%s: %+v: line at %.3f Hz", tc.timbre, c, at)
			}
			if quiet > amp/10 {
				t.Errorf("%s: %+v is there without drive: %.2g, with it %.2g", tc.timbre, c, quiet, amp)
			}
		}
		t.Logf("%s: %d difference tones seen", tc.timbre, seen)
		if seen < tc.want {
			t.Errorf("%s: only %d difference tones seen", tc.timbre, seen)
		}
	}
}

// combined returns every frequency that orders 1 to 3 make of the partials.
func combined(tones []Tone, partials int) []float64 {
	var lines []float64
	for _, tone := range tones {
		for k := 1; k <= partials; k++ {
			lines = append(lines, tone.Partial(k), -tone.Partial(k))
		}
	}
	lines = append(lines, 0) // for the lower orders
	seen := map[int]float64{}
	for _, a := range lines {
		for _, b := range lines {
			for _, c := range lines {
				if f := a + b + c; f > 0 {
					seen[int(math.Round(f*1e6))] = f
				}
			}
		}
	}
	var all []float64
	for _, f := range seen {
		all = append(all, f)
	}
	return all
}

// crowded says whether another frequency than hz itself lies within 1.2 Hz of it.
func crowded(all []float64, hz float64) bool {
	for _, f := range all {
		if d := math.Abs(f - hz); d > 1e-3 && d < 1.2 {
			return true
		}
	}
	return false
}
