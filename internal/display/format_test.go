package display

import (
	"math"
	"testing"
)

// One significant digit of the uncertainty, and the value cut to the same place, is the plain
// form of the rule in the Guide to the Expression of Uncertainty in Measurement
// (JCGM 100:2008, 7.2.6): the value is rounded to the least digit of its uncertainty.
func TestDigitsFollowUncertainty(t *testing.T) {
	for _, c := range []struct {
		cents, sigma float64
		want, sig    string
	}{
		{1.2374, 0.3, "+1.2", "0.3"},
		{1.2374, 0.021, "+1.24", "0.02"},
		{1.2374, 0.0049, "+1.237", "0.005"},
		{1.2374, 0.00049, "+1.237", "0.001"},
		{-12.6, 4, "-13", "4"},
		{-12.6, 40, "-13", "40"},
		{3.14159, 0.096, "+3.1", "0.1"},
		{3.14159, 0.94, "+3.1", "0.9"},
		{3.14159, 0.96, "+3", "1"},
		{-0.04, 0.3, "0.0", "0.3"},
		{0.04, 0.3, "0.0", "0.3"},
		{1.2374, 0, "+1.2", "?"},
		{1.2374, math.NaN(), "+1.2", "?"},
		{1.2374, math.Inf(1), "+1.2", "?"},
		{math.NaN(), 0.3, "?", "0.3"},
		{math.Inf(-1), 0.3, "?", "0.3"},
	} {
		if got := Cents(c.cents, c.sigma); got != c.want {
			t.Errorf("Cents(%g, %g) = %q, want %q", c.cents, c.sigma, got, c.want)
		}
		if got := Sigma(c.sigma); got != c.sig {
			t.Errorf("Sigma(%g) = %q, want %q", c.sigma, got, c.sig)
		}
	}
}

// A cent at 440 Hz is 0.254 Hz (440·(2^(1/1200) - 1)), so ±0.3 cents there is ±0.08 Hz.
func TestHzDigits(t *testing.T) {
	for _, c := range []struct {
		got, want string
	}{
		{Hz(440.1234, 0.3), "440.12"},
		{Hz(440.1234, 40), "440.1"},
		{Hz(82.40689, 0.001), "82.4069"},
		{BeatHz(-0.254, 440, 0.3), "-0.25"},
		{BeatHz(0.0001, 440, 0.3), "0.00"},
		{Hz(math.NaN(), 0.3), "?"},
		{BeatHz(5.16, 440, 0), "+5.16"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// No figure has an exponent, and none is a negative zero.
func TestPlainFigures(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Plain(30000, 4), "30000"}, {Plain(3e21, 4), "3000000000000000000000"}, {Plain(0.00001234, 2), "0.000012"}, {Plain(1234.56, 3), "1230"},
		{Plain(math.Copysign(0, -1), 3), "0"}, {Plain(math.NaN(), 3), "?"}, {Plain(-2.5, 4), "-2.5"},
		{Fixed(-0.5, 0), "0"}, {Fixed(-0.004, 2), "0.00"}, {Fixed(math.Copysign(0, -1), 1), "0.0"}, {Fixed(-1.25, 1), "-1.2"}, {Fixed(3, 1), "3.0"},
		{Signed(-0.004, 2), "0.00"}, {Signed(0.5, 0), "0"}, {Signed(1.5, 0), "+2"},
		{Count(1, "note"), "1 note"}, {Count(0, "note"), "0 notes"}, {Count(12, "note"), "12 notes"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
