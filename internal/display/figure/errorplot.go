package figure

import (
	"math"
	"strconv"
)

// An ErrorPlot shows the errors of divisions, or of named tunings, on a logarithmic scale of
// cents: lower is better.
type ErrorPlot struct {
	Title  string
	Axis   string // what the error is: "worst pair, cents"
	Points []ErrorPoint
}

// An ErrorPoint is one division or tuning.
type ErrorPoint struct {
	Division int     // place along the axis; 0 for a named tuning
	Label    string  // written at the axis for a named tuning, at the point if Marked
	Error    float64 // cents
	Second   float64 // a second figure drawn beside it; 0: none
	Marked   bool    // stands out
}

// Measures of the plot in pixels.
const (
	plotWidth, plotHeight = 900.0, 480.0
	plotLeft, plotRight   = 70.0, 20.0
	plotTop, plotBottom   = 50.0, 90.0
	plotText              = 12.0
	markedRoom            = 22.0 // between labels of marked points
	labelsAcross          = 16   // at the axis
)

// plotLowest is the smallest error that the scale shows; smaller ones, in cents, are drawn there.
const plotLowest = 0.01

// Draw returns the figure.
func (p ErrorPlot) Draw() *Canvas {
	c := NewCanvas(plotWidth, plotHeight, p.Title)
	c.Text(plotLeft, 26, 16, p.Title, "ink")
	if len(p.Points) == 0 {
		return c
	}
	low, high := p.errorRange()
	y := func(cents float64) float64 {
		part := math.Log(max(cents, low)/low) / math.Log(high/low)
		return plotHeight - plotBottom - part*(plotHeight-plotTop-plotBottom)
	}
	p.drawScale(c, low, high, y)
	x := p.places()
	last := math.Inf(-1)
	for i, point := range p.Points {
		if point.Second > 0 {
			c.Circle(x(i), y(point.Second), 3, "other")
		}
		if !point.Marked {
			c.Circle(x(i), y(point.Error), 3, "ink")
			continue
		}
		c.Circle(x(i), y(point.Error), 5, "mark")
		if x(i)-last >= markedRoom {
			c.Text(x(i), y(point.Error)-9, plotText, point.Label, "mark label")
			last = x(i)
		}
	}
	p.drawAxis(c, x)
	return c
}

// errorRange returns the ends of the scale.
func (p ErrorPlot) errorRange() (low, high float64) {
	low, high = math.Inf(1), plotLowest
	for _, point := range p.Points {
		low, high = min(low, point.Error), max(high, point.Error)
		if point.Second > 0 {
			low, high = min(low, point.Second), max(high, point.Second)
		}
	}
	low = max(low, plotLowest)
	return low / 1.25, high * 1.25
}

// places returns where each point stands: by its division, or evenly.
func (p ErrorPlot) places() func(i int) float64 {
	width := plotWidth - plotLeft - plotRight
	first, last := p.Points[0].Division, p.Points[0].Division
	for _, point := range p.Points {
		first, last = min(first, point.Division), max(last, point.Division)
	}
	if first == last {
		return func(i int) float64 { return plotLeft + width*(float64(i)+0.5)/float64(len(p.Points)) }
	}
	return func(i int) float64 {
		return plotLeft + 12 + (width-24)*float64(p.Points[i].Division-first)/float64(last-first)
	}
}

// drawScale draws the lines of 1, 2 and 5 times the powers of ten.
func (p ErrorPlot) drawScale(c *Canvas, low, high float64, y func(float64) float64) {
	for power := math.Pow10(int(math.Floor(math.Log10(low)))); power <= high; power *= 10 {
		for _, k := range [3]float64{1, 2, 5} {
			if v := k * power; v >= low && v <= high {
				c.Line(plotLeft, y(v), plotWidth-plotRight, y(v), "thin")
				c.Text(plotLeft-8, y(v)+plotText/3, plotText, strconv.FormatFloat(v, 'g', 3, 64), "ink end")
			}
		}
	}
	c.TextUp(20, plotTop+(plotHeight-plotTop-plotBottom)/2, plotText, p.Axis, "ink label")
}

// drawAxis writes the divisions, or the names of the tunings, below the plot.
func (p ErrorPlot) drawAxis(c *Canvas, x func(int) float64) {
	base := plotHeight - plotBottom
	c.Line(plotLeft, base, plotWidth-plotRight, base, "ink")
	every := max(1, len(p.Points)/labelsAcross)
	for i, point := range p.Points {
		if i%every != 0 {
			continue
		}
		c.Line(x(i), base, x(i), base+5, "ink")
		label := point.Label
		if point.Division > 0 {
			label = strconv.Itoa(point.Division)
		}
		c.Text(x(i), base+18, plotText, shorten(label), "ink label")
	}
	c.Text(plotLeft+(plotWidth-plotLeft-plotRight)/2, base+44, plotText, p.caption(), "thin label")
}

func (p ErrorPlot) caption() string {
	for _, point := range p.Points {
		if point.Division > 0 {
			return "equal steps; marked: better than all smaller divisions shown"
		}
	}
	return "tunings, the best first"
}

// shorten cuts a name that would run into its neighbour.
func shorten(label string) string {
	const most = 14
	if r := []rune(label); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return label
}
