package stiffstring

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"pgregory.net/rapid"
)

func TestLawAgainstPublishedStrings(t *testing.T) {
	file, err := os.Open("testdata/inharmonicity.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		var v [5]float64 // partial, reference, cents, tolerance, B
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[1+i], 64); err != nil {
				t.Fatalf("%s: %v", row[0], err)
			}
		}
		k, b := int(v[0]), v[4]
		got := Cents(PartialHz(100, b, k), 100*float64(k))
		if v[1] == 0 {
			got += Cents(math.Sqrt(1+b), 1) // partial 1 itself lies above f0
		}
		if math.Abs(got-v[2]) > v[3] {
			t.Errorf("%s: partial %d is %.4f cents sharp, published %g", row[0], k, got, v[2])
		}
	}
}

// The tables of the trade give 1200·log2(3/2) = 701.955 cents.
func TestCents(t *testing.T) {
	if c := Cents(3, 2); math.Abs(c-701.9550008653874) > 1e-10 {
		t.Errorf("3/2 is %.10f cents", c)
	}
}

func TestLawDerivative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f1 := rapid.Float64Range(20, 5000).Draw(t, "f1")
		b := rapid.Float64Range(0, 0.02).Draw(t, "b")
		k := rapid.IntRange(1, 28).Draw(t, "k")
		want := fd.Derivative(func(b float64) float64 { return PartialHz(f1, b, k) }, b,
			&fd.Settings{Formula: fd.Central, Step: 1e-7})
		got := PartialHzByB(f1, b, k)
		// Rounding of f over the step, and the step squared times the third derivative.
		tol := 1e-15*f1*float64(k)/1e-7 + 1e-4*math.Abs(want)
		if math.Abs(got-want) > tol {
			t.Fatalf("d f_%d/dB at f1 = %g, B = %g: %g, numerically %g", k, f1, b, got, want)
		}
		if PartialHz(f1, b, 1) != f1 || math.Abs(PartialHz(f1, 0, k)-float64(k)*f1) > 1e-12*float64(k)*f1 {
			t.Fatalf("partial 1 of %g Hz at %g, or partial %d without stiffness at %g", f1, PartialHz(f1, b, 1), k, PartialHz(f1, 0, k))
		}
	})
}

// 600·log2((1+B·r²)/(1+B)) is what PartialHz puts partial r above r times partial 1.
func TestStretch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.Float64Range(0, 0.02).Draw(t, "b")
		k := rapid.IntRange(1, 28).Draw(t, "k")
		want := Cents(PartialHz(100, b, k), 100*float64(k))
		if got := StretchCents(b, float64(k)); math.Abs(got-want) > 1e-9 {
			t.Fatalf("partial %d at B = %g is %g cents sharp, by its frequency %g", k, b, got, want)
		}
		if n, off := Nearest(PartialHz(100, b, k)*1.0001, 100, b); n != k || math.Abs(off-Cents(1.0001, 1)) > 1e-3 {
			t.Fatalf("0.17 cents above partial %d is told %g above partial %d", k, off, n)
		}
	})
}

// Partials of a stiff string from Fletcher's law with the flexible fundamental f0 = f1/√(1+B).
func TestPartialHz(t *testing.T) {
	const f1, b = 82.407, 1.1e-4
	f0 := f1 / math.Sqrt(1+b)
	for k := 1; k <= 20; k++ {
		want := float64(k) * f0 * math.Sqrt(1+b*float64(k)*float64(k))
		if got := PartialHz(f1, b, k); math.Abs(got-want) > 1e-9 {
			t.Errorf("PartialHz(%g, %g, %d) = %.9f, want %.9f", f1, b, k, got, want)
		}
	}
}
