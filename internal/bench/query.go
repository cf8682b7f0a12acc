package bench

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// A query reads the parameters of a request. The first that is wrong is the query's err, and what
// is read after it is of no use.
type query struct {
	values url.Values
	known  []string
	err    error
}

func (q *query) fail(format string, args ...any) {
	if q.err == nil {
		q.err = fmt.Errorf(format, args...)
	}
}

// text returns a parameter, or what stands for it where it is not given.
func (q *query) text(name, otherwise string) string {
	given := q.all(name)
	switch len(given) {
	case 0:
		return otherwise
	case 1:
		return given[0]
	}
	q.fail("%s is given %d times; give it once", name, len(given))
	return otherwise
}

// all returns a parameter that may be given several times.
func (q *query) all(name string) []string {
	q.known = append(q.known, name)
	return q.values[name]
}

// whole returns a whole number from least to most.
func (q *query) whole(name string, otherwise, least, most int) int {
	text := q.text(name, "")
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		q.fail("%s %.40q is no whole number from %d to %d", name, text, least, most)
	}
	return n
}

// truth returns true or false; false where it is not given.
func (q *query) truth(name string) bool {
	switch text := q.text(name, ""); text {
	case "", "false":
		return false
	case "true":
		return true
	default:
		q.fail("%s %.40q is neither true nor false", name, text)
		return false
	}
}

// number returns a number from least to most.
func (q *query) number(name string, otherwise, least, most float64) float64 {
	text := q.text(name, "")
	if text == "" {
		return otherwise
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || x < least || x > most {
		q.fail("%s %.40q is no number from %g to %g", name, text, least, most)
	}
	return x
}

// bounded returns a number within a bound.
func (q *query) bounded(name string, otherwise float64, b bound) float64 {
	return q.number(name, otherwise, b.Least, b.Most)
}

// numbers returns a list of numbers with commas between, nil if it is not given.
func (q *query) numbers(name string) []float64 {
	text := q.text(name, "")
	if text == "" {
		return nil
	}
	var out []float64
	for field := range strings.SplitSeq(text, ",") {
		x, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			q.fail("%s: %.40q is no number; write them with commas between, like 0,-13.7,0", name, field)
			return nil
		}
		out = append(out, x)
	}
	return out
}

// end returns the first thing that was wrong, and otherwise what was given but not asked for.
func (q *query) end() error {
	for name := range q.values {
		if !slices.Contains(q.known, name) {
			q.fail("%.40q is no parameter here; there are %s", name, strings.Join(q.known, ", "))
		}
	}
	return q.err
}
