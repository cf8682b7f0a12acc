package figure

import (
	"math"
	"time"

	"tunerd/internal/display"
)

// A DriftPlot shows how the strings of an instrument kept their pitch from session to session: a
// strip for each string, all with one scale. Of each session it has the pitch that the string was
// found with, as a ring, and that it was left with, as a dot; what happened in between is drawn
// as a line.
type DriftPlot struct {
	Title   string
	Strings []DriftStrip
	Changes []DriftChange
}

// A DriftStrip is one string.
type DriftStrip struct {
	Label    string // "1 E4"
	Verdict  string // in words
	Sittings []DriftSitting
}

// A DriftSitting is a string in one session.
type DriftSitting struct {
	Found, Left DriftPoint
	Broken      bool // from the sitting before no line leads here: the string was changed, or tuned to another note
}

// A DriftPoint is a pitch at a time, in cents against its target.
type DriftPoint struct {
	At    time.Time
	Cents float64 // NaN: not known, which is drawn as 0
}

func (p DriftPoint) known() float64 {
	if math.IsNaN(p.Cents) {
		return 0
	}
	return p.Cents
}

// A DriftChange is a change of strings.
type DriftChange struct {
	At    time.Time
	Strip int // index of the string; negative: all
}

// Measures of the plot in pixels.
const (
	driftWidth                 = 900.0
	driftLeft, driftRight      = 130.0, 60.0
	driftTop, driftBottom      = 74.0, 44.0
	driftStrip                 = 84.0
	driftText                  = 12.0
	driftMost                  = 60.0 // cents; what is farther off is drawn at the edge, with an arrow and its figure
	driftLeast                 = 2.0  // cents; the scale shows at least so much
	driftTicks                 = 6
	driftRing, driftDot        = 4.0, 2.5
	driftMargin                = 6.0
	driftArrow, driftBarb      = 8.0, 3.0
	driftFigure                = 50.0 // room for the figure of what lies outside
	driftLegendX, driftLegendY = 130.0, 52.0
)

// Draw returns the figure.
func (p DriftPlot) Draw() *Canvas {
	height := driftTop + driftStrip*float64(max(1, len(p.Strings))) + driftBottom
	c := NewCanvas(driftWidth, height, p.Title)
	c.Text(driftLeft, 26, 16, p.Title, "ink")
	x, from, to := p.times()
	if x == nil {
		c.Text(driftLeft, driftTop+driftStrip/2, driftText, "no readings of open strings", "thin")
		return c
	}
	p.drawLegend(c)
	limit := p.limit()
	for i := range p.Strings {
		p.drawStrip(c, i, driftTop+driftStrip*float64(i), limit, x)
	}
	drawDays(c, height-driftBottom, x, from, to)
	return c
}

// times returns where a time stands across the plot, and its ends; nil if nothing was measured.
func (p DriftPlot) times() (x func(time.Time) float64, from, to time.Time) {
	for _, s := range p.Strings {
		for _, sit := range s.Sittings {
			for _, at := range []time.Time{sit.Found.At, sit.Left.At} {
				if from.IsZero() || at.Before(from) {
					from = at
				}
				if at.After(to) {
					to = at
				}
			}
		}
	}
	if from.IsZero() {
		return nil, from, to
	}
	span := max(to.Sub(from), time.Minute).Seconds()
	return func(t time.Time) float64 {
		return driftLeft + driftMargin + (driftWidth-driftLeft-driftRight-2*driftMargin)*t.Sub(from).Seconds()/span
	}, from, to
}

// limit returns the end of the scale in cents.
func (p DriftPlot) limit() float64 { return min(p.most()*1.05, driftMost) }

// most is how far a pitch is off its target, driftLeast at least.
func (p DriftPlot) most() float64 {
	most := driftLeast
	for _, s := range p.Strings {
		for _, sit := range s.Sittings {
			most = max(most, math.Abs(sit.Found.known()), math.Abs(sit.Left.known()))
		}
	}
	return most
}

func (p DriftPlot) drawLegend(c *Canvas) {
	x, y := driftLegendX, driftLegendY
	c.Circle(x+4, y-4, driftRing, "mark paper")
	c.Text(x+14, y, driftText, "as found", "thin")
	c.Circle(x+84, y-4, driftDot, "ink")
	c.Text(x+93, y, driftText, "as left", "thin")
	if p.outside() {
		drawArrow(c, x+254, y+2, -1)
		c.Text(x+261, y, driftText, "off the scale", "thin")
	}
	if len(p.Changes) > 0 {
		c.Line(x+154, y-11, x+154, y+2, "other")
		c.Text(x+161, y, driftText, "new strings", "thin")
	}
	c.Text(driftWidth-driftRight, y, driftText, "cents beside the target", "thin end")
}

func (p DriftPlot) drawStrip(c *Canvas, i int, top, limit float64, x func(time.Time) float64) {
	s := &p.Strings[i]
	middle, half := top+driftStrip/2, driftStrip/2-9
	y := func(cents float64) float64 { return middle - half*min(max(cents/limit, -1), 1) }
	place := func(p DriftPoint) [2]float64 { return [2]float64{x(p.At), y(p.known())} }
	right := driftWidth - driftRight
	c.Text(driftLeft-10, middle-2, 14, s.Label, "ink end")
	c.Text(driftLeft-10, middle+14, driftText, s.Verdict, "thin end")
	c.Line(driftLeft, middle, right, middle, "thin")
	for _, cents := range []float64{limit, 0, -limit} {
		c.Text(right+8, y(cents)+driftText/3, driftText, scaleText(cents), "thin")
	}
	for _, change := range p.Changes {
		if at := x(change.At); (change.Strip < 0 || change.Strip == i) && at >= driftLeft && at <= right {
			c.Line(at, top+3, at, top+driftStrip-3, "other")
		}
	}
	for k, sit := range s.Sittings {
		found, left := place(sit.Found), place(sit.Left)
		if k > 0 && !sit.Broken {
			before := place(s.Sittings[k-1].Left)
			c.Line(before[0], before[1], found[0], found[1], "mark")
		}
		c.Line(found[0], found[1], left[0], left[1], "thin")
	}
	for _, sit := range s.Sittings {
		found, left := place(sit.Found), place(sit.Left)
		c.Circle(left[0], left[1], driftDot, "ink")
		c.Circle(found[0], found[1], driftRing, "mark paper")
		drawOutside(c, found, sit.Found.known(), limit)
		if sit.Left.known() != sit.Found.known() || sit.Left.At != sit.Found.At {
			drawOutside(c, left, sit.Left.known(), limit)
		}
	}
}

// drawOutside marks a pitch that lies beyond the scale, and so is drawn at its edge: an arrow points
// there, and the figure stands beside it.
func drawOutside(c *Canvas, at [2]float64, cents, limit float64) {
	if math.Abs(cents) <= limit {
		return
	}
	drawArrow(c, at[0], at[1], -math.Copysign(1, cents))
	class, x := "ink", at[0]+driftArrow
	if at[0] > driftWidth-driftRight-driftFigure {
		class, x = "ink end", at[0]-driftArrow
	}
	c.Text(x, at[1]+driftText/3, driftText, display.Signed(cents, 0), class)
}

// drawArrow draws an arrow from x, y; down is 1 or, upwards, -1.
func drawArrow(c *Canvas, x, y, down float64) {
	tip := y + down*driftArrow
	c.Line(x, y, x, tip, "ink")
	c.Line(x-driftBarb, tip-down*driftBarb, x, tip, "ink")
	c.Line(x+driftBarb, tip-down*driftBarb, x, tip, "ink")
}

// outside says whether a pitch lies beyond the scale.
func (p DriftPlot) outside() bool { return p.most() > driftMost }

func scaleText(cents float64) string {
	if cents == 0 {
		return "0"
	}
	return display.Signed(cents, 0)
}

// drawDays writes times below the strips.
func drawDays(c *Canvas, y float64, x func(time.Time) float64, from, to time.Time) {
	c.Line(driftLeft, y, driftWidth-driftRight, y, "ink")
	layout := "2006-01-02"
	if to.Sub(from) < driftTicks*24*time.Hour {
		layout = "01-02 15:04"
	}
	ticks := driftTicks
	if to.Sub(from) < time.Minute {
		ticks = 1
	}
	for i := range ticks {
		at := from.Add(to.Sub(from) / time.Duration(max(1, ticks-1)) * time.Duration(i))
		c.Line(x(at), y, x(at), y+5, "ink")
		c.Text(x(at), y+20, driftText, at.Format(layout), "ink label")
	}
}
