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
	maxDivision      = 1_000_000 // N in kofNedo
	maxStepCount     = 1_000_000_000
	maxIntervalCents = 1_000_000
)

const intervalForms = "a ratio like 3/2, steps like 24of41edo or 4of13ed3, or cents like 386.31c"

// ParseInterval reads an interval:
//
//	7/4, 3           a ratio of whole numbers; without / of three digits at most
//	24of41edo        24 of 41 equal steps of 2/1
//	4of13ed3         4 of 13 equal steps of 3/1; 2of9ed3/2 divides 3/2
//	386.31c          cents
//	5/4-10c          sums and differences of these
//
// All but cents are exact. A ratio below 1 and negative steps or cents lead downwards.
func ParseInterval(text string) (Interval, error) {
	if len(text) > maxIntervalText {
		return Interval{}, fmt.Errorf("interval %s is longer than %d characters", quote(text), maxIntervalText)
	}
	var sum Interval
	rest := text
	for first := true; first || rest != ""; first = false {
		sign, term := 1, rest
		switch {
		case strings.HasPrefix(rest, "-") && !(first && isRatio(rest[1:])):
			sign, term = -1, rest[1:]
		case strings.HasPrefix(rest, "+") && !first:
			term = rest[1:]
		}
		if sign < 0 && strings.HasPrefix(term, "-") {
			return Interval{}, fmt.Errorf("%s has two signs in a row", quote(text))
		}
		end := 1 + strings.IndexAny(term[min(1, len(term)):], "+-")
		if end == 0 {
			end = len(term)
		}
		iv, err := parseTerm(term[:end])
		if err != nil {
			return Interval{}, err
		}
		sum, rest = sum.Add(iv.Mul(sign)), term[end:]
	}
	if c := sum.Cents(); !(math.Abs(c) <= maxIntervalCents) {
		return Interval{}, fmt.Errorf("interval %s is beyond %d cents", quote(text), maxIntervalCents)
	}
	return sum, nil
}

// isRatio says whether a text begins with a ratio or a lone whole number: none leads downwards by a
// minus before it.
func isRatio(text string) bool {
	number := strings.TrimLeft(text, "0123456789/")
	return number == "" || strings.ContainsAny(number[:1], "+-")
}

func parseTerm(term string) (Interval, error) {
	if cents, ok := strings.CutSuffix(term, "c"); ok {
		x, err := parseDecimal(cents)
		if err != nil {
			return Interval{}, fmt.Errorf("%s is no number of cents; write it like 386.31c", quote(term))
		}
		return Cents(x), nil
	}
	if steps, division, ok := strings.Cut(term, "of"); ok {
		return parseSteps(term, steps, division)
	}
	if steps, division, ok := strings.Cut(term, `\`); ok {
		if !strings.Contains(division, "ed") {
			division += "edo"
		}
		if _, err := parseSteps(term, steps, division); err != nil {
			return Interval{}, err
		}
		return Interval{}, fmt.Errorf("%s: steps are written with of: %sof%s", quote(term), steps, division)
	}
	if !strings.Contains(term, "/") && len(term) > maxBareDigits && strings.Trim(term, "0123456789") == "" {
		return Interval{}, fmt.Errorf("%s is a whole number of more than %d digits; write steps like 24of41edo, and a ratio of that size with /1", quote(term), maxBareDigits)
	}
	return parseRatio(term)
}

// maxBareDigits is how many digits a ratio without a slash may have: of longer ones a sign has been
// lost on the way.
const maxBareDigits = 3

// parseSteps reads kofNedo and kofNedP/Q, cut at the of.
func parseSteps(term, steps, division string) (Interval, error) {
	k, err := strconv.Atoi(steps)
	if err != nil || k < -maxStepCount || k > maxStepCount || strings.HasPrefix(steps, "+") {
		return Interval{}, fmt.Errorf("%s: %s is no whole number of steps; write steps like 24of41edo", quote(term), quote(steps))
	}
	count, base, hasBase := strings.Cut(division, "ed")
	n, err := parseCount(count, maxDivision)
	if err != nil {
		return Interval{}, fmt.Errorf("%s: the division %s is not within 1 to %d; write steps like 24of41edo", quote(term), quote(count), maxDivision)
	}
	whole := octave
	switch {
	case !hasBase:
		return Interval{}, fmt.Errorf("%s: steps of what is missing; write 24of41edo for the octave, 4of13ed3 for 3/1", quote(term))
	case base != "o":
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
	var sum strings.Builder
	for i, f := range a.factors {
		term, _ := Interval{factors: []factor{f}}.asSteps()
		if i > 0 && !strings.HasPrefix(term, "-") {
			sum.WriteByte('+')
		}
		sum.WriteString(term)
	}
	return sum.String()
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
	text := steps.Num().String() + "of" + steps.Denom().String()
	if base.Cmp(big.NewRat(2, 1)) == 0 {
		return text + "edo", true
	}
	return text + "ed" + base.RatString(), true
}

// quote quotes what the user wrote for an error line, cut short and with anything that could
// break the line or steer a terminal replaced.
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
