package targets

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of what ParseInterval reads, so that no text from outside costs much work.
const (
	maxIntervalText  = 256       // bytes
	maxDivision      = 1_000_000 // N in k\N
	maxStepCount     = 1_000_000_000
	maxIntervalCents = 1_000_000
)

const intervalForms = `a ratio like 3/2, steps like 24\41 or 4\13ed3, or cents like 386.31c`

// ParseInterval reads an interval:
//
//	7/4, 3           a ratio of whole numbers
//	24\41            24 of 41 equal steps of 2/1
//	4\13ed3          4 of 13 equal steps of 3/1; 2\9ed3/2 divides 3/2
//	386.31c          cents
//	3/2+1\41         a sum of these
//
// All but cents are exact. A ratio below 1 and negative steps or cents lead downwards.
func ParseInterval(text string) (Interval, error) {
	if len(text) > maxIntervalText {
		return Interval{}, fmt.Errorf("interval %s is longer than %d characters", quote(text), maxIntervalText)
	}
	var sum Interval
	for term := range strings.SplitSeq(text, "+") {
		iv, err := parseTerm(term)
		if err != nil {
			return Interval{}, err
		}
		sum = sum.Add(iv)
	}
	if c := sum.Cents(); !(math.Abs(c) <= maxIntervalCents) {
		return Interval{}, fmt.Errorf("interval %s is beyond %d cents", quote(text), maxIntervalCents)
	}
	return sum, nil
}

func parseTerm(term string) (Interval, error) {
	if cents, ok := strings.CutSuffix(term, "c"); ok {
		x, err := parseDecimal(cents)
		if err != nil {
			return Interval{}, fmt.Errorf("%s is no number of cents; write it like 386.31c", quote(term))
		}
		return Cents(x), nil
	}
	if steps, division, ok := strings.Cut(term, `\`); ok {
		return parseSteps(term, steps, division)
	}
	return parseRatio(term)
}

// parseSteps reads k\N and k\NedP/Q, cut at the backslash.
func parseSteps(term, steps, division string) (Interval, error) {
	k, err := strconv.Atoi(steps)
	if err != nil || k < -maxStepCount || k > maxStepCount || strings.HasPrefix(steps, "+") {
		return Interval{}, fmt.Errorf(`%s: %s is no whole number of steps; write steps like 24\41`, quote(term), quote(steps))
	}
	count, base, hasBase := strings.Cut(division, "ed")
	n, err := parseCount(count, maxDivision)
	if err != nil {
		return Interval{}, fmt.Errorf(`%s: the division %s is not within 1 to %d; write steps like 24\41`, quote(term), quote(count), maxDivision)
	}
	whole := octave
	if hasBase {
		if whole, err = parseRatio(base); err != nil {
			return Interval{}, err
		}
	}
	return whole.Mul(k).Div(n), nil
}

// parseRatio reads 3/2, or 3 for 3/1.
func parseRatio(term string) (Interval, error) {
	top, bottom, ok := strings.Cut(term, "/")
	if !ok {
		bottom = "1"
	}
	num, errNum := parseSide(top)
	den, errDen := parseSide(bottom)
	if errNum != nil || errDen != nil {
		return Interval{}, fmt.Errorf("%s is no interval; write %s", quote(term), intervalForms)
	}
	iv, err := Ratio(num, den)
	if err != nil {
		return Interval{}, fmt.Errorf("ratio %s: %w", quote(term), err)
	}
	return iv, nil
}

// parseSide reads a whole number of digits only.
func parseSide(s string) (uint64, error) {
	if strings.Trim(s, "0123456789") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseUint(s, 10, 64)
}

// parseCount reads a whole number from 1 to limit.
func parseCount(s string, limit int) (int, error) {
	n, err := parseSide(s)
	if err != nil {
		return 0, err
	}
	if n < 1 || n > uint64(limit) {
		return 0, strconv.ErrRange
	}
	return int(n), nil
}

// parseDecimal reads a plain decimal number: digits, one point, a leading minus. It takes none
// of the other spellings of strconv.ParseFloat: no exponent, hexadecimal, infinity or NaN.
func parseDecimal(s string) (float64, error) {
	digits := strings.TrimPrefix(s, "-")
	if strings.Trim(digits, "0123456789.") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(s, 64)
}

// String writes the interval as ParseInterval reads it (within its limits), in the shortest of the forms there that
// is exact: a ratio, equal steps of a ratio, or a sum of equal steps of primes.
func (a Interval) String() string {
	if a.inexact {
		return strconv.FormatFloat(a.cents, 'f', -1, 64) + "c"
	}
	if r, ok := a.Rat(); ok && fitsSides(r) {
		return r.String()
	}
	if s, ok := a.asSteps(); ok {
		return s
	}
	terms := make([]string, len(a.factors))
	for i, f := range a.factors {
		terms[i], _ = Interval{factors: []factor{f}}.asSteps()
	}
	return strings.Join(terms, "+")
}

func fitsSides(r *big.Rat) bool {
	return r.Num().BitLen() <= 64 && r.Denom().BitLen() <= 64
}

// asSteps writes the interval as k steps of N equal divisions of one ratio: the exponents are
// k/N times whole numbers without a common factor.
func (a Interval) asSteps() (string, bool) {
	n := big.NewInt(1) // least common denominator
	for _, f := range a.factors {
		g := new(big.Int).GCD(nil, nil, n, f.exp.Denom())
		n.Mul(n, new(big.Int).Div(f.exp.Denom(), g))
	}
	k := new(big.Int) // greatest common divisor of the exponents over n
	for _, f := range a.factors {
		e := new(big.Int).Mul(f.exp.Num(), n)
		k.GCD(nil, nil, k, e.Abs(e.Div(e, f.exp.Denom())))
	}
	if a.Cents() < 0 {
		k.Neg(k)
	}
	steps := new(big.Rat).SetFrac(k, n)
	base, ok := a.scale(new(big.Rat).Inv(steps)).Rat()
	if !ok || !fitsSides(base) {
		return "", false
	}
	text := steps.Num().String() + `\` + steps.Denom().String()
	if base.Cmp(big.NewRat(2, 1)) == 0 {
		return text, true
	}
	return text + "ed" + base.RatString(), true
}

// quote quotes what the user wrote for an error line, cut short and with anything that could
// break the line or steer a terminal replaced. Backslashes stay, as they belong to intervals.
func quote(s string) string {
	const most = 40
	if s == "" {
		return "(nothing)"
	}
	if len(s) > most {
		s = s[:most] + "…"
	}
	s = strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) {
			return utf8.RuneError
		}
		return r
	}, s)
	return `"` + s + `"`
}
