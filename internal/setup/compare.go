package setup

import "math"

// A Comparison sets two checks of one string side by side, before and after nut and saddle were
// moved. The standard errors of the differences take the two checks as independent; as frets off
// their places trouble both alike, they are rather too large.
type Comparison struct {
	Before      *StringResult `json:"before"`
	After       *StringResult `json:"after"`
	NutMM       float64       `json:"nut_mm"` // how far the nut came, away from the head
	NutSigma    float64       `json:"nut_sigma_mm"`
	SaddleMM    float64       `json:"saddle_mm"`
	SaddleSigma float64       `json:"saddle_sigma_mm"`
	LeftMM      float64       `json:"left_mm"` // how much further back the saddle stands now than where the notes are best
	LeftSigma   float64       `json:"left_sigma_mm"`
}

// Compare sets the strings that both results have told side by side, in the order of the second.
func Compare(before, after *Result) []Comparison {
	var all []Comparison
	for i := range after.Strings {
		a := &after.Strings[i]
		for k := range before.Strings {
			b := &before.Strings[k]
			if b.Number != a.Number || !a.Determined || !b.Determined {
				continue
			}
			c := Comparison{
				Before: b, After: a,
				NutMM: a.Place.NutMM - b.Place.NutMM, NutSigma: math.Hypot(a.PlaceSigma.NutMM, b.PlaceSigma.NutMM),
				SaddleMM: a.Place.SaddleMM - b.Place.SaddleMM, SaddleSigma: math.Hypot(a.PlaceSigma.SaddleMM, b.PlaceSigma.SaddleMM),
			}
			c.LeftMM, c.LeftSigma = -a.Move.SaddleMM, a.MoveSigma.SaddleMM
			all = append(all, c)
		}
	}
	return all
}
