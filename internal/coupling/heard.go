package coupling

import "math"

// leastSigma is the least σ in cents that a reading of a string is taken to have here: strings ring a little
// differently from pluck to pluck. An estimate.
const leastSigma = 0.1

// Heard gathers what was heard in one recording or strum; a string that sounds twice is averaged.
type Heard struct{ sums []heardSum }

type heardSum struct{ weight, cents float64 }

// Add takes in a reading of a string, from 0.
func (h *Heard) Add(str int, cents, sigma float64) {
	for len(h.sums) <= str {
		h.sums = append(h.sums, heardSum{})
	}
	sigma = math.Hypot(sigma, leastSigma)
	w := 1 / (sigma * sigma)
	h.sums[str].weight += w
	h.sums[str].cents += w * cents
}

// Readings returns one reading a string that was heard.
func (h *Heard) Readings() []Reading {
	var all []Reading
	for i, s := range h.sums {
		if s.weight > 0 {
			all = append(all, Reading{i, s.cents / s.weight, 1 / math.Sqrt(s.weight)})
		}
	}
	return all
}

// Missing returns the strings of n, from 1, that were not heard.
func (h *Heard) Missing(n int) []int {
	var all []int
	for i := range n {
		if i >= len(h.sums) || h.sums[i].weight == 0 {
			all = append(all, i+1)
		}
	}
	return all
}
