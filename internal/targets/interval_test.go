package targets

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// exactInterval draws a sum of a ratio, steps of the octave and steps of another ratio.
func exactInterval() *rapid.Generator[Interval] {
	return rapid.Custom(func(t *rapid.T) Interval {
		ratio := func(top uint64, name string) Interval {
			iv, err := Ratio(rapid.Uint64Range(1, top).Draw(t, name), rapid.Uint64Range(1, top).Draw(t, name))
			if err != nil {
				t.Fatal(err)
			}
			return iv
		}
		steps := func(name string) (k, n int) {
			return rapid.IntRange(-300, 300).Draw(t, name), rapid.IntRange(1, 72).Draw(t, name)
		}
		iv := ratio(2000, "side")
		if rapid.Bool().Draw(t, "octave steps") {
			k, n := steps("octave step")
			iv = iv.Add(octave.Mul(k).Div(n))
		}
		if rapid.Bool().Draw(t, "other steps") {
			k, n := steps("other step")
			iv = iv.Add(ratio(20, "base").Mul(k).Div(n))
		}
		if math.Abs(iv.Cents()) > maxIntervalCents {
			t.Skip("beyond what ParseInterval reads")
		}
		return iv
	})
}

func TestIntervalRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := exactInterval().Draw(t, "a")
		text := a.String()
		b, err := ParseInterval(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if !b.Exact() || !a.Equal(b) || b.String() != text {
			t.Fatalf("%s read back as %v", text, b)
		}
	})
}

func TestCentsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Cents(rapid.Float64Range(-maxIntervalCents, maxIntervalCents).Draw(t, "cents"))
		if len(a.String()) > maxIntervalText {
			t.Skip("denormal")
		}
		b, err := ParseInterval(a.String())
		if err != nil || !a.Equal(b) || b.Exact() {
			t.Fatalf("%v read back as %v, %v", a, b, err)
		}
	})
}

func TestIntervalLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := exactInterval().Draw(t, "a"), exactInterval().Draw(t, "b"), exactInterval().Draw(t, "c")
		k := rapid.IntRange(1, 60).Draw(t, "k")
		for _, law := range []struct {
			name        string
			left, right Interval
		}{
			{"a+b = b+a", a.Add(b), b.Add(a)},
			{"(a+b)+c = a+(b+c)", a.Add(b).Add(c), a.Add(b.Add(c))},
			{"a+b-b = a", a.Add(b).Sub(b), a},
			{"a-a = 1/1", a.Sub(a), Interval{}},
			{"k(a+b) = ka+kb", a.Add(b).Mul(k), a.Mul(k).Add(b.Mul(k))},
			{"k(a/k) = a", a.Div(k).Mul(k), a},
		} {
			if !law.left.Equal(law.right) || law.left.Cmp(law.right) != 0 {
				t.Fatalf("%s: %v, %v", law.name, law.left, law.right)
			}
		}
		if got, want := a.Add(b).Cents(), a.Cents()+b.Cents(); math.Abs(got-want) > 1e-8 {
			t.Fatalf("cents of %v + %v: %v, want %v", a, b, got, want)
		}
		if a.Cmp(b) != -b.Cmp(a) || (a.Cmp(b) == 0) != a.Equal(b) {
			t.Fatalf("order of %v and %v", a, b)
		}
	})
}

// Ratios are ordered and added as math/big does it.
func TestIntervalAgainstRat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Uint64Range(1, 1<<32-1)
		draw := func(name string) (Interval, *big.Rat) {
			n, d := side.Draw(t, name), side.Draw(t, name)
			iv, err := Ratio(n, d)
			if err != nil {
				t.Fatal(err)
			}
			return iv, new(big.Rat).SetFrac(new(big.Int).SetUint64(n), new(big.Int).SetUint64(d))
		}
		a, ra := draw("a")
		b, rb := draw("b")
		if a.Cmp(b) != ra.Cmp(rb) {
			t.Fatalf("%v against %v: %d, want %d", ra, rb, a.Cmp(b), ra.Cmp(rb))
		}
		sum, ok := a.Add(b).Rat()
		if !ok || sum.Cmp(new(big.Rat).Mul(ra, rb)) != 0 {
			t.Fatalf("%v + %v: %v", ra, rb, sum)
		}
	})
}

// Equal intervals in different words, and pairs that lie close: 24of41edo, 389of665edo and 111457of190537edo
// are convergents of the continued fraction of log2(3/2).
func TestIntervalsTellClosePairsApart(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{`12of12edo`, "2/1", 0},
		{`7of12edo`, "3/2", -1},
		{`24of41edo`, "3/2", 1},
		{`2of24edo`, `1of12edo`, 0},
		{`13of13ed3`, "3/1", 0},
		{`9of9ed3/2`, "3/2", 0},
		{`389of665edo`, "3/2", -1},
		{`1of4ed5`, "3/2", -1},                                 // fifth of quarter-comma meantone
		{`111457of190537edo`, "3/2", 1},                        // 4.9e-13 octave apart, by 60-digit decimals
		{"4294967295/4294967294", "4294967294/4294967293", -1}, // 1e-16 cents apart
		{"81/80+32805/32768", "531441/524288", 0},              // the two commas differ by the schisma
	} {
		a, b := mustInterval(t, c.a), mustInterval(t, c.b)
		if got := a.Cmp(b); got != c.want || a.Equal(b) != (c.want == 0) {
			t.Errorf("%s against %s: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestParseIntervalRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                       "is no interval",
		"x":                      `"x"`,
		"3/0":                    "3/0",
		"3/":                     `"3/"`,
		"-3/2":                   `"-3/2"`,
		"3/2/1":                  `"3/2/1"`,
		"1.5":                    `"1.5"`,
		"1.5.2c":                 "number of cents",
		"1e3c":                   "number of cents",
		"infc":                   "number of cents",
		"nanc":                   "number of cents",
		`3of0edo`:                "division",
		`3\`:                     "division",
		`x\12`:                   "whole number of steps",
		`24\41`:                  "24of41edo",
		`-4\13ed3`:               "4of13ed3",
		`5/4+2\9ed3/2`:           "2of9ed3/2",
		"2441":                   "24of41edo", // 24\41 in a shell
		"242441":                 "more than 3 digits",
		"24of41":                 "24of41edo",
		"5/4--10c":               "two signs",
		"5/4-+10c":               "is no",
		"of12edo":                "whole number of steps",
		`1of9999999edo`:          "within 1 to",
		`999999999999of12edo`:    "whole number of steps",
		"3/2+":                   "is no interval",
		"2000000c":               "beyond",
		"9223372036854775783/2":  "prime factor", // the largest prime below 2^63
		strings.Repeat("9", 1e6): "longer than",
		strings.Repeat("9", 200): "more than 3 digits",
	} {
		_, err := ParseInterval(text)
		if err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.40q: error %v, want one line with %s", text, err, says)
		}
	}
}

func TestNearestRatio(t *testing.T) {
	for _, c := range []struct {
		cents float64
		limit int
		want  string
	}{
		{0, 9, "1/1"},
		{700, 9, "3/2"},
		{400, 9, "5/4"},
		{300, 9, "6/5"},
		{968.826, 5, "5/3"}, // the 5-odd-limit is 1/1 6/5 5/4 4/3 3/2 8/5 5/3
		{968.826, 7, "7/4"},
		{1200, 9, "2/1"},
		{-498.045, 9, "3/4"},
		{2786.314, 9, "5/1"},
		{1901.955, 3, "3/1"},
		{551.318, 11, "11/8"},
		{math.NaN(), 9, "1/1"},
	} {
		got, off := NearestRatio(c.cents, c.limit)
		if got.String() != c.want {
			t.Errorf("%g cents within odd limit %d: %v, want %s", c.cents, c.limit, got, c.want)
		}
		if !math.IsNaN(c.cents) {
			near(t, "distance from "+c.want, off, c.cents-got.Cents(), 1e-9)
		}
	}
}

// The table of intervals holds all simple ratios: each is its own nearest ratio at its odd limit.
func TestNearestRatioOfIntervals(t *testing.T) {
	odd := func(n int) int {
		for n%2 == 0 {
			n /= 2
		}
		return n
	}
	for _, r := range table(t, "intervals.csv") {
		num, den := r.integer(t, "num"), r.integer(t, "den")
		limit := max(odd(num), odd(den))
		if limit > 35 { // beyond, another ratio may lie within the rounding of the table
			continue
		}
		got, off := NearestRatio(r.number(t, "cents_exact"), limit)
		if want := mustInterval(t, r["num"]+"/"+r["den"]); !got.Equal(want) || math.Abs(off) > 1e-6 {
			t.Errorf("%v: nearest ratio %v, off by %g", want, got, off)
		}
	}
}
