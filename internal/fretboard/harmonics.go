package fretboard

import (
	"fmt"
	"math"

	"tunerd/internal/targets"
)

// MaxHarmonic is the highest harmonic that is told; above it nodes lie too close to touch.
const MaxHarmonic = 16

// A Harmonic is a place where a string is touched to sound a natural harmonic.
type Harmonic struct {
	String, Number, Node int     // touch at node k of harmonic n: k/n of the string
	TouchMM              float64 // from the nut
	Fret                 int     // nearest to the place; 0 is the nut
	FretMM               float64 // from that fret to the place; positive towards the saddle
	Cents                float64 // of the harmonic above the open string
	Hz                   float64
	Note                 targets.Note // nearest of the tuning
	OffCents             float64      // of the harmonic against Note
}

// Harmonics returns where string n is touched for harmonics 2 to most, by harmonic and then from
// the nut. Touching at k/h of the string sounds harmonic h if k and h have no common factor; with
// one, a lower harmonic sounds. The pitch is h times that of the open string, or, if the
// string's inharmonicity B is known, h·√((1+B·h²)/(1+B)) times (Fletcher 1964).
func (b *Board) Harmonics(n, most int) ([]Harmonic, error) {
	s, err := b.string(n)
	if err != nil {
		return nil, err
	}
	if most < 2 || most > MaxHarmonic {
		return nil, fmt.Errorf("harmonic %d is not within 2 to %d", most, MaxHarmonic)
	}
	stiffness := b.in.Strings[n-1].Inharmonicity
	var all []Harmonic
	for h := 2; h <= most; h++ {
		for k := 1; k < h; k++ {
			if gcd(k, h) == 1 {
				all = append(all, b.harmonic(s, h, k, stiffness))
			}
		}
	}
	return all, nil
}

func (b *Board) harmonic(s *String, h, k int, stiffness float64) Harmonic {
	x := float64(h)
	ratio := x * math.Sqrt((1+stiffness*x*x)/(1+stiffness))
	touch := s.ScaleMM * float64(k) / x
	a := Harmonic{String: s.Number, Number: h, Node: k, TouchMM: touch, FretMM: touch,
		Cents: 1200 * math.Log2(ratio), Hz: s.Open.Hz * ratio}
	for i := range s.Frets {
		if d := touch - s.Frets[i].NutMM; math.Abs(d) < math.Abs(a.FretMM) {
			a.Fret, a.FretMM = i+1, d
		}
	}
	a.Note = b.in.Tuning.Note(b.in.Tuning.Nearest(a.Hz))
	a.OffCents = 1200 * math.Log2(a.Hz/a.Note.Hz)
	return a
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
