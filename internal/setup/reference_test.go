package setup

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"tunerd/internal/stiffstring"
	"tunerd/internal/testkit"
)

// TestSetbacks takes the nut and saddle setbacks that G. Byers publishes for classical guitars, as
// quoted by W. Stegall 2017 (the setbacks are published, seen in the quotation; 650 mm is assumed
// there), and the cents that they make at seven frets by lengths alone, which were derived from
// them in 40-digit arithmetic outside this project. Deviation gives the same cents, and the fit
// finds the published setbacks again in the cents.
func TestSetbacks(t *testing.T) {
	frets := []int{1, 2, 3, 5, 7, 9, 12}
	board := guitar650()
	for i, row := range testkit.Table(t, "testdata/setbacks.csv") {
		t.Run(row["string"], func(t *testing.T) {
			ends := Ends{NutMM: testkit.Number(t, row["nut_shortening_mm"]), SaddleMM: testkit.Number(t, row["saddle_lengthening_mm"])}
			var readings []Reading
			s := board.Strings[i].Number
			readings = append(readings, Reading{Note: Note{String: s}, Sigma: 1e-3, Plucks: 1, BSigma: 1e-12})
			for _, k := range frets {
				want := testkit.Number(t, row[fmt.Sprintf("length_only_cents_fret_%d", k)])
				if got := Deviation(650, ends, math.Exp2(float64(k)/12), 0); math.Abs(got-want) > 5e-5 {
					t.Errorf("fret %d: %.5f cents, want %.4f", k, got, want)
				}
				readings = append(readings, Reading{Note: Note{String: s, Fret: k}, Cents: want, Sigma: 1e-3, Plucks: 1, BSigma: 1e-12})
			}
			m := UsualModel
			m.SlotMM, m.NutHeightMM = 1e-3, 1e-3 // an ideal instrument
			m.ReliefMM, m.ReliefSigma = 0, 1e-6
			f, err := fitAll(board, readings, m)
			if err != nil {
				t.Fatal(err)
			}
			r := f.result()
			got := r.Strings[0].Place
			if math.Abs(got.NutMM-ends.NutMM) > 1e-3 || math.Abs(got.SaddleMM-ends.SaddleMM) > 1e-3 {
				t.Errorf("fitted %+v, published %+v", got, ends)
			}
		})
	}
}

// guitar650 is the guitar of the published setbacks: 650 mm, twelve equal steps, strings 1 to 6.
func guitar650() *Board {
	b := &Board{Name: "650 mm"}
	for i, hz := range []float64{329.63, 246.94, 196, 146.83, 110, 82.41} {
		s := String{Number: i + 1, OpenHz: hz, ScaleMM: 650, Elastic: 1e-6, ElasticSpread: 1e-3} // lengths are all
		for k := 1; k <= 12; k++ {
			s.Frets = append(s.Frets, Fret{Cents: 100 * float64(k)})
		}
		b.Strings = append(b.Strings, s)
	}
	return b
}

// TestSaddleRule checks the move of the saddle for a sharp octave fret against the exact rule
// L(R−1)/(2−R), derived in 40-digit arithmetic outside this project (all rows of rules.csv that it
// applies to are derived; none of these is a published measurement).
func TestSaddleRule(t *testing.T) {
	seen := 0
	for _, row := range testkit.Table(t, "testdata/rules.csv") {
		var sharp float64
		if n, _ := fmt.Sscanf(row["item"], "saddle move back for fretted octave %f cents sharp", &sharp); n != 1 {
			continue
		}
		seen++
		want := testkit.Number(t, strings.TrimSuffix(row["recomputed"], " mm"))
		if got := SaddleMoveFor(650, 2, sharp); math.Abs(got-want) > 5e-6 {
			t.Errorf("octave %g cents sharp: %.6f mm, want %.5f", sharp, got, want)
		}
		// Moving the nut by nothing and the saddle by that is what two notes ask for that are sharp so.
		// A note of ratio r wants dS = L(R−1)/(r−R): the same dS at another fret gives its R.
		r := math.Exp2(5.0 / 12)
		other := 1200 * math.Log2((650+r*want)/(650+want))
		move, ok := MoveFor(650, 2, sharp, r, other)
		if !ok || math.Abs(move.NutMM) > 1e-4 || math.Abs(move.SaddleMM-want) > 1e-4 {
			t.Errorf("two notes: %+v, want the saddle alone by %.5f mm", move, want)
		}
	}
	if seen != 7 {
		t.Errorf("%d rows of the rule, want 7", seen)
	}
	// The bench rule: 1 mm on 648 mm is about 2.7 cents at the octave.
	if got := -FirstOrder(648, Ends{SaddleMM: 1}, 2, 0); math.Abs(got-2.7) > 0.05 {
		t.Errorf("1 mm of saddle is %.3f cents at the octave, the bench rule says 2.7", got)
	}
}

// TestPress checks the stretch of a pressed string against the worked figure of rules.csv (derived,
// not published): plain steel 0.254 mm, E4, L = 647.7 mm, pressed 2.0 mm at fret 12, E·A =
// 10134.15 N, T = 72.524 N: 2.3035 cents in the exact form.
func TestPress(t *testing.T) {
	const worked = "12.3514 um stretch; EA=10134.15 N; T=72.524 N; 2.3066 cents (linear); 2.3035 cents (log form)"
	found := false
	for _, row := range testkit.Table(t, "testdata/rules.csv") {
		found = found || row["recomputed"] == worked
	}
	if !found {
		t.Fatal("the worked figure is not in rules.csv")
	}
	p := Press{ElasticN: 10134.15, TensionN: 72.524, ScaleMM: 647.7}
	if got := p.Sharpness(647.7/2, 2); math.Abs(got-2.3035) > 5e-5 {
		t.Errorf("%.5f cents, want 2.3035", got)
	}
}

// TestPressHasThreeShapes checks what the package says of pressing: with a height that rises in
// proportion along the board the sharpness is a sum of 1, r−1 and 1/(r−1). The first two are places
// of nut and saddle as the string feels them, so that with these where they should be the last is
// all that is left.
func TestPressHasThreeShapes(t *testing.T) {
	const scale, h0, action, stiff = 648.0, 0.4, 2.0, 1e-3 // so soft that first order is all
	rise := (2*action - 2*h0) / scale
	sharp := func(r float64) float64 {
		x := scale * (r - 1) / r
		h := h0 + rise*x
		return stiffstring.CentsPerNeper / 2 * stiff * h * h / 2 * (1/x + 1/(scale-x)) / scale
	}
	k := stiffstring.CentsPerNeper / 2 * stiff
	p := body{scaleMM: scale, elastic: stiff, heightMM2: h0 * h0, actionMM: action} // the finger on the wire, the neck straight
	for _, r := range []float64{1.03, 1.06, 1.3, 2, 3} {
		last := p.sharpness(Ends{}, stop{ratio: r, gapMM: 1})
		want := k*rise*rise/2*(r-1) + k*h0*rise/scale*r + k*h0*h0/(2*scale*scale)*((r-1)+2) + last
		if got := sharp(r); math.Abs(got-want) > 1e-6*want {
			t.Errorf("r = %g: %.9g cents, the shapes sum to %.9g", r, got, want)
		}
	}
}

// TestFirstOrderIsOffAsItSays checks the stated error of the first order.
func TestFirstOrderIsOffAsItSays(t *testing.T) {
	for _, ends := range []Ends{{0, 3}, {0, 10}, {-1, -4}, {2, 1}} {
		for _, r := range []float64{1.1, 2, 3} {
			const scale, fret = 648.0, 0.4
			square := func(x float64) float64 { return x * x }
			want := stiffstring.CentsPerNeper / 2 * (square(r*(ends.SaddleMM-fret)/scale) - square((ends.SaddleMM-ends.NutMM)/scale))
			got := Deviation(scale, ends, r, fret) - FirstOrder(scale, ends, r, fret)
			third := stiffstring.CentsPerNeper * math.Pow(r*(math.Abs(ends.SaddleMM)+fret)/scale, 3)
			if math.Abs(got-want) > third {
				t.Errorf("%+v at r = %g: off by %.4f cents, the second order is %.4f", ends, r, got, want)
			}
		}
	}
	if got := Deviation(648, Ends{SaddleMM: 3}, 2, 0) - FirstOrder(648, Ends{SaddleMM: 3}, 2, 0); math.Abs(got-0.056) > 0.002 {
		t.Errorf("a saddle 3 mm off: %.4f cents", got)
	}
}

// TestWorldIsThePublishedModel sets the instruments that the tests invent against the model that M.
// B. Anderson and R. G. Beausoleil publish for 36 strings that they measured (J. Acoust. Soc. Am.
// 156, 2024: 650 mm, the nut 1 mm above fret 1, the saddle 4 mm above the nut, clamped at nut and
// fret), fret by fret, without setbacks and with them. The model keeps E·A/T where the setback makes
// a string longer, which is 0.03 cents at most.
func TestWorldIsThePublishedModel(t *testing.T) {
	for _, row := range testkit.Table(t, "testdata/per_fret_model.csv") {
		w := newWorld(guitar650())
		w.bow, w.finger = 0, 0
		w.height[0], w.action[0] = 1, 3
		w.elastic[0] = testkit.Number(t, row["kappa_published"])
		w.b[0] = math.Pow(math.Pi*testkit.Number(t, row["B0_published"]), 2)
		w.end = 1 // clamped at one end
		w.ends[0] = Ends{NutMM: -testkit.Number(t, row["nut_setback_mm"]), SaddleMM: testkit.Number(t, row["saddle_setback_mm"])}
		for k := 1; k <= 12; k++ {
			want := testkit.Number(t, row[fmt.Sprintf("cents_fret_%d", k)])
			got := Cents(w.hz(Note{String: 1, Fret: k}), w.hz(Note{String: 1})) - 100*float64(k)
			if math.Abs(got-want) > 0.035 {
				t.Errorf("%s %s, setbacks %s and %s, fret %d: %.3f cents, published %.3f", row["set"], row["string"], row["saddle_setback_mm"], row["nut_setback_mm"], k, got, want)
			}
		}
	}
}
