package targets

import (
	"errors"
	"fmt"
)

// maxFactors bounds the number of products: of 20 factors there are at most 184756.
const maxFactors = 20

// parseProducts reads "products K of A B C…": the product of every choice of K of the factors,
// as intervals above the lowest product. Equal products and those that are whole repeats apart
// become one note later, as everywhere.
func parseProducts(tokens []string) ([]Interval, error) {
	if len(tokens) < 4 || tokens[2] != "of" {
		return nil, errors.New("products needs how many to multiply and the factors, like products 2 of 1 3 5 7")
	}
	texts := tokens[3:]
	if len(texts) > maxFactors {
		return nil, fmt.Errorf("%d factors are more than %d", len(texts), maxFactors)
	}
	k, err := parseCount(tokens[1], len(texts))
	if err != nil {
		return nil, fmt.Errorf("products of %s factors: write a number from 1 to the %d that follow", quote(tokens[1]), len(texts))
	}
	factors := make([]Interval, len(texts))
	for i, text := range texts {
		if factors[i], err = ParseInterval(text); err != nil {
			return nil, err
		}
	}
	if err := refuseRepeated(factors, texts); err != nil {
		return nil, err
	}
	if n := choices(len(factors), k); n > maxSteps {
		return nil, fmt.Errorf("%d products are more than %d", n, maxSteps)
	}
	return aboveLowest(appendProducts(nil, factors, k, Interval{})), nil
}

// choices returns how many ways there are to choose k of n; n is at most maxFactors.
func choices(n, k int) int {
	c := 1
	for i := range k {
		c = c * (n - i) / (i + 1)
	}
	return c
}

// appendProducts appends the product of base with every choice of k of the factors.
func appendProducts(dst, factors []Interval, k int, base Interval) []Interval {
	if k == 0 {
		return append(dst, base)
	}
	for i := 0; i+k <= len(factors); i++ {
		dst = appendProducts(dst, factors[i+1:], k-1, base.Add(factors[i]))
	}
	return dst
}

func aboveLowest(notes []Interval) []Interval {
	lowest := notes[0]
	for _, iv := range notes[1:] {
		if iv.Cmp(lowest) < 0 {
			lowest = iv
		}
	}
	for i, iv := range notes {
		notes[i] = iv.Sub(lowest)
	}
	return notes
}
