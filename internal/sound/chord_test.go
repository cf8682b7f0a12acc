package sound

import (
	"math"
	"slices"
	"testing"
)

func render(t *testing.T, c Chord, sampleRate float64) []float64 {
	t.Helper()
	x, err := c.Render(sampleRate, newRand())
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Each timbre has its partials, and nothing between.
func TestTimbres(t *testing.T) {
	for timbre, partials := range map[Timbre]int{SineTimbre: 1, OrganTimbre: len(organLevels)} {
		amps := lines(render(t, Chord{Notes: []ChordNote{{Hz: 300}}, Timbre: timbre, Seconds: 3}, driveRate))
		for i, a := range amps {
			isPartial := i%300 == 0 && i > 0 && i <= 300*partials
			if isPartial != (a > 1e-3*amps[300]) {
				t.Errorf("%s: %.3g at %d Hz against %.3g", timbre, a, i, amps[300])
			}
		}
	}
	spec, err := StringTimbre.Spec(110, 1e-4)
	if err != nil || spec.B != 1e-4 || spec.T60 > 20 {
		t.Errorf("string: %+v, %v", spec, err)
	}
	if _, err := Timbre("kazoo").Spec(110, 0); err == nil {
		t.Error("an unknown timbre was accepted")
	}
}

// No click: more than an octave and a half beyond the fades' own spectrum a tone of 100 Hz has
// nothing above 90 dB below its peak. Cut off sharply it has.
func TestFadesDoNotClick(t *testing.T) {
	c := Chord{Notes: []ChordNote{{Hz: 100}}, Timbre: SineTimbre, Seconds: 0.5025}
	faded := render(t, c, driveRate)
	peak := func(x []float64) float64 {
		padded := make([]float64, 3*driveRate)
		copy(padded[settled+1000:], x)
		return 20 * math.Log10(slices.Max(lines(padded)[2000:])*driveRate/2) // as if all in one sample
	}
	sharp := make([]float64, len(faded))
	for i := range sharp {
		sharp[i] = math.Cos(2 * math.Pi * 100 * float64(i) / driveRate)
	}
	if faded[0] != 0 || math.Abs(faded[len(faded)-1]) > 1e-5 {
		t.Errorf("ends at %g and %g", faded[0], faded[len(faded)-1])
	}
	if db := peak(faded); db > -30 {
		t.Errorf("faded: %.1f dB above 2 kHz", db)
	}
	if db := peak(sharp); db < -30 {
		t.Errorf("the check does not see a click: %.1f dB", db)
	}
}

// A note that moves is at its first pitch before, at its second after, and in the middle of the
// move halfway in cents.
func TestChordMoves(t *testing.T) {
	c := Chord{Notes: []ChordNote{{Hz: 400, ToHz: 500}}, Timbre: SineTimbre, Seconds: 6, MoveStart: 2, MoveEnd: 4}
	x := render(t, c, driveRate)
	for at, want := range map[float64]float64{1: 400, 3: math.Sqrt(400 * 500), 5: 500} {
		first := int(at*driveRate) - 1000
		crossings := 0.0
		var from, to float64
		for i := first; i < first+2000; i++ {
			if x[i] < 0 && x[i+1] >= 0 {
				to = float64(i) + x[i]/(x[i]-x[i+1])
				if crossings == 0 {
					from = to
				}
				crossings++
			}
		}
		if got := (crossings - 1) * driveRate / (to - from); math.Abs(got-want) > 1 {
			t.Errorf("%g s: %.2f Hz, want %.2f", at, got, want)
		}
	}
}
