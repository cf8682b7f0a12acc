package ensemble

import (
	"math"
	"testing"
)

// FuzzRead reads sums of sinusoids at frequencies that the input chooses, at targets that it chooses
// too: whatever sounds, a reading is a finite pitch near its target with an uncertainty, or none.
func FuzzRead(f *testing.F) {
	f.Add([]byte{40, 80, 120, 200}, []byte{40, 80})
	f.Add([]byte{1, 1, 1}, []byte{1, 1, 255})
	f.Add([]byte{}, []byte{7})
	f.Fuzz(func(t *testing.T, sound, targets []byte) {
		if len(targets) == 0 || len(targets) > 8 || len(sound) > 24 {
			t.Skip()
		}
		const rate = 8000
		var strings []String
		for i, v := range targets {
			strings = append(strings, String{Number: i + 1, Hz: 40 + 3*float64(v)})
		}
		r, err := NewReader(Config{SampleRate: rate, Strings: strings})
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float64, rate/2)
		for k, v := range sound {
			w := 2 * math.Pi * (10 + 14.3*float64(v)) / rate
			for i := range x {
				x[i] += math.Cos(w*float64(i)+float64(k)) * math.Exp2(-float64(k)/2)
			}
		}
		got, err := r.Read(x)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range got {
			if s.Sounding && !(math.Abs(s.Cents) <= searchCents+strayCents && s.SigmaCents > 0 && s.B >= 0 && !math.IsInf(s.SigmaCents, 0)) {
				t.Errorf("string at %g Hz: %+v", s.String.Hz, s)
			}
		}
	})
}
