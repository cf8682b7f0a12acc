package figure

import (
	"math"
	"strconv"
)

// A Ring is a tuning drawn as a circle: one turn is the interval at which it repeats, clockwise
// from the top. Notes stand on the outer circle, the simple ratios that they stand for on the
// inner one, each at its own pure place, so that a slanting line shows how far off a note is.
type Ring struct {
	Title       string
	Period      string // "2/1"
	PeriodCents float64
	Notes       []RingNote
}

// A RingNote is one note of a Ring.
type RingNote struct {
	Cents    float64
	Label    string
	Ratio    string  // nearest simple ratio; empty: none is drawn
	OffCents float64 // the note's distance from it
}

const (
	ringSize    = 760.0
	ringOuter   = 270.0
	ringInner   = 205.0
	ringText    = 13.0 // height of labels
	ringBand    = 14.0 // ratios further than this from their note, in cents, are not drawn …
	ringBandTop = 0.25 // … nor those further than this part of the mean step
)

// Draw returns the figure. Of labels that would run into one another only the first is written.
func (r Ring) Draw() *Canvas {
	c := NewCanvas(ringSize, ringSize, r.Title)
	const mid = ringSize / 2
	c.Circle(mid, mid, ringOuter, "thin")
	c.Circle(mid, mid, ringInner, "thin")
	outside, inside := r.spaced(ringOuter), r.spaced(ringInner)
	limit := max(ringBand, ringBandTop*r.PeriodCents/float64(max(1, len(r.Notes))))
	for _, n := range r.Notes {
		at := r.turn(n.Cents)
		if n.Ratio != "" && math.Abs(n.OffCents) <= limit {
			pure := r.turn(n.Cents - n.OffCents)
			x1, y1 := onCircle(mid, ringInner, pure)
			x2, y2 := onCircle(mid, ringOuter, at)
			c.Line(x1, y1, x2, y2, "mark")
			if inside(pure) {
				x, y := onCircle(mid, ringInner-24, pure)
				c.Text(x, y+ringText/3, ringText, n.Ratio, "mark label")
			}
		}
		x, y := onCircle(mid, ringOuter, at)
		c.Circle(x, y, 4, "ink")
		if outside(at) {
			x, y = onCircle(mid, ringOuter+34, at)
			c.Text(x, y, ringText, n.Label, "ink label")
			c.Text(x, y+ringText, ringText-2, strconv.FormatFloat(n.Cents, 'f', 1, 64), "thin label")
		}
	}
	c.Text(mid, mid-6, 18, r.Title, "ink label")
	c.Text(mid, mid+16, ringText, "once round is "+r.Period+", notes in cents", "thin label")
	return c
}

// turn returns the angle of a size in turns, 0 to 1.
func (r Ring) turn(cents float64) float64 {
	turns := cents / r.PeriodCents
	return turns - math.Floor(turns)
}

// spaced returns a function that says whether a label at an angle keeps clear of those before.
func (r Ring) spaced(radius float64) func(turn float64) bool {
	const width = 3.2 * ringText
	least := width / (2 * math.Pi * radius)
	var taken []float64
	return func(turn float64) bool {
		for _, t := range taken {
			d := math.Abs(turn - t)
			if min(d, 1-d) < least {
				return false
			}
		}
		taken = append(taken, turn)
		return true
	}
}

// onCircle returns the point at an angle clockwise from the top.
func onCircle(mid, radius, turn float64) (x, y float64) {
	sin, cos := math.Sincos(2 * math.Pi * turn)
	return mid + radius*sin, mid - radius*cos
}
