package main

import (
	"fmt"
	"io"
	"math"
	"time"
)

// figures are what was measured of one build.
type figures struct {
	Cells                        []cell
	Plucks                       []float64 // s until 19 of 20 are within a cent, by pluck; 0 if never
	Covered, Read, Gross, Unread int
	Missed                       int // goals
	live, whole                  time.Duration
}

// A cell is the error of one kind of window, in cents RMS.
type cell struct {
	Name string
	RMSE float64
}

// changed is the part by which a figure must differ to be counted: trials are the same ones.
const changed = 0.05

// write prints a row of the table, against what is shipped.
func (f figures) write(w io.Writer, name string, shipped figures) {
	errors := compare(rmse(f.Cells), rmse(shipped.Cells))
	lock := compare(f.Plucks, shipped.Plucks)
	fmt.Fprintf(w, "| %s | %.3f | %d | %d of %d | %.1f | %d, %d | %.3f | %d | %.3f | %.3f |\n", name,
		errors.mean, errors.more, errors.less, errors.n, 100*float64(f.Covered)/float64(f.Read), f.Gross, f.Unread,
		lock.mean, f.Missed, f.live.Seconds()/shipped.live.Seconds(), f.whole.Seconds()/shipped.whole.Seconds())
}

func rmse(cells []cell) []float64 {
	var all []float64
	for _, c := range cells {
		all = append(all, c.RMSE)
	}
	return all
}

// A comparison is the geometric mean of ratios, and how many are more or less than 1 by what is counted.
type comparison struct {
	mean          float64
	more, less, n int
}

// compare compares positive figures of the same things; where one is not positive, or no number, the pair is left out.
func compare(got, want []float64) comparison {
	var c comparison
	var sum float64
	for i, v := range want {
		if i >= len(got) || !(v > 0) || !(got[i] > 0) || math.IsInf(v, 0) || math.IsInf(got[i], 0) {
			continue
		}
		ratio := got[i] / v
		sum += math.Log(ratio)
		c.n++
		if ratio > 1+changed {
			c.more++
		}
		if ratio < 1-changed {
			c.less++
		}
	}
	c.mean = math.Exp(sum / float64(max(1, c.n)))
	return c
}
