package figure

import (
	"math"
	"strconv"
)

// A TradePlot shows what one thing costs another: a curve of points, each as good as it can be for
// the one at what it is for the other, and one point beside it. Both axes are linear and start at 0,
// where nothing is left to wish for.
type TradePlot struct {
	Title    string
	Across   string // what the horizontal axis is: "chosen chords, cents"
	Up       string // what the vertical axis is
	Points   []TradePoint
	Apart    TradePoint // off the curve
	HasApart bool
}

// A TradePoint is one point of a TradePlot.
type TradePoint struct {
	X, Y  float64
	Label string // written beside it unless it would run into another label
}

// Measures of the plot in pixels; its margins are those of ErrorPlot.
const (
	tradeWidth, tradeHeight = 640.0, 480.0
	tradeRoom               = 26.0 // between labels
)

// Draw returns the figure.
func (p TradePlot) Draw() *Canvas {
	c := NewCanvas(tradeWidth, tradeHeight, p.Title)
	c.Text(plotLeft, 26, 16, p.Title, "ink")
	most := [2]float64{}
	for _, q := range append(p.Points[:len(p.Points):len(p.Points)], p.Apart) {
		most[0], most[1] = max(most[0], q.X), max(most[1], q.Y)
	}
	x := axis(most[0], plotLeft, tradeWidth-plotRight)
	y := axis(most[1], tradeHeight-plotBottom, plotTop)
	p.drawAxes(c, x, y)
	line := make([][2]float64, len(p.Points))
	for i, q := range p.Points {
		line[i] = [2]float64{x.at(q.X), y.at(q.Y)}
	}
	c.Path(line, "mark")
	var written [][2]float64
	label := func(at [2]float64, text, class string) {
		for _, w := range written {
			if math.Abs(w[0]-at[0]) < 2*tradeRoom && math.Abs(w[1]-at[1]) < tradeRoom/2 {
				return
			}
		}
		written = append(written, at)
		c.Text(at[0]+8, at[1]-6, plotText, text, class)
	}
	for i, q := range p.Points {
		c.Circle(line[i][0], line[i][1], 4, "mark")
		label(line[i], q.Label, "ink")
	}
	if p.HasApart {
		at := [2]float64{x.at(p.Apart.X), y.at(p.Apart.Y)}
		c.Circle(at[0], at[1], 5, "other")
		c.Text(at[0]-8, at[1]+18, plotText, p.Apart.Label, "other end")
	}
	return c
}

// A scale maps 0 to most onto pixels, with a tick at every step.
type scale struct{ from, perUnit, most, step float64 }

// axis chooses round steps for a range from 0.
func axis(most, from, to float64) scale {
	if !(most > 0) || math.IsInf(most, 0) {
		most = 1
	}
	step := math.Pow10(int(math.Floor(math.Log10(most))))
	for _, k := range [...]float64{0.2, 0.5, 1, 2, 5} {
		if most/(k*step) <= 6 {
			step *= k
			break
		}
	}
	most *= 1.08
	return scale{from, (to - from) / most, most, step}
}

func (s scale) at(x float64) float64 { return s.from + x*s.perUnit }

// drawAxes draws lines at all ticks and writes what they are.
func (p TradePlot) drawAxes(c *Canvas, x, y scale) {
	for v := 0.0; v <= x.most; v += x.step {
		c.Line(x.at(v), y.at(0), x.at(v), plotTop, "thin")
		c.Text(x.at(v), y.at(0)+18, plotText, strconv.FormatFloat(v, 'g', 4, 64), "ink label")
	}
	for v := 0.0; v <= y.most; v += y.step {
		c.Line(plotLeft, y.at(v), tradeWidth-plotRight, y.at(v), "thin")
		c.Text(plotLeft-8, y.at(v)+plotText/3, plotText, strconv.FormatFloat(v, 'g', 4, 64), "ink end")
	}
	c.Line(plotLeft, y.at(0), tradeWidth-plotRight, y.at(0), "ink")
	c.Line(plotLeft, y.at(0), plotLeft, plotTop, "ink")
	c.Text((plotLeft+tradeWidth-plotRight)/2, y.at(0)+44, plotText, p.Across, "ink label")
	c.TextUp(20, (plotTop+y.at(0))/2, plotText, p.Up, "ink label")
}
