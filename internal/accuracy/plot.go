package accuracy

import (
	"fmt"
	"html"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// plotted are the notes of the picture with their colours, from the palette for colour-blind readers
// of M. Okabe and K. Ito, 2008 (values from memory). Notes are named beside their lines as well.
var plotted = []struct{ note, colour string }{
	{"B0", "#0072b2"}, {"E2", "#d55e00"}, {"E4", "#009e73"}, {"A4", "#cc79a7"},
}

// Sizes of the picture, in pixels.
const (
	plotTop, plotBottom  = 56.0, 52.0
	plotLeft, panelGap   = 64.0, 44.0
	panelWide, panelHigh = 250.0, 330.0
)

// WriteSVG draws error against window length, a panel for each SNR of the matched model: the bound
// as a line, what was reached as dots. Both axes are logarithmic.
func (rep *Report) WriteSVG(w io.Writer) error {
	shown := rep.plottedResults()
	if len(shown) == 0 {
		return fmt.Errorf("accuracy: nothing to draw: no cell of the matched model at %s", plottedNames())
	}
	var snrs []float64
	for _, r := range shown {
		if !slices.Contains(snrs, r.SNRdB) {
			snrs = append(snrs, r.SNRdB)
		}
	}
	slices.Sort(snrs)
	p := newPlot(shown)
	width := plotLeft + float64(len(snrs))*(panelWide+panelGap)
	height := plotTop + panelHigh + plotBottom
	fmt.Fprintf(&p.b, `<svg xmlns="http://www.w3.org/2000/svg" width="%g" height="%g" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12" role="img">`+"\n", width, height, width, height)
	fmt.Fprintf(&p.b, "<title>Error of the pitch against window length</title>\n<rect width=\"%g\" height=\"%g\" fill=\"#ffffff\"/>\n", width, height)
	p.text(plotLeft, 18, "start", "#222222", "Error of partial 1 in cents (RMSE, dots) and the Cramér–Rao bound (lines)")
	for i, snr := range snrs {
		p.panel(plotLeft+float64(i)*(panelWide+panelGap), snr, shown)
	}
	p.b.WriteString("</svg>\n")
	_, err := io.WriteString(w, p.b.String())
	return err
}

func plottedNames() string {
	var names []string
	for _, n := range plotted {
		names = append(names, n.note)
	}
	return strings.Join(names, ", ")
}

// plottedResults are the cells of the picture that have something to show.
func (rep *Report) plottedResults() []Result {
	var out []Result
	for _, r := range rep.Results {
		for _, n := range plotted {
			if r.Condition.Name == "" && r.Name == n.note && r.RMSE > 0 {
				out = append(out, r)
			}
		}
	}
	return out
}

type plot struct {
	b          strings.Builder
	x0, x1     float64 // window in s, ends of the axis
	y0, y1     float64 // cents, whole decades
	windowsOfX []float64
}

func newPlot(shown []Result) *plot {
	p := &plot{x0: math.Inf(1), y0: math.Inf(1)}
	for _, r := range shown {
		p.x0, p.x1 = min(p.x0, r.WindowS/1.25), max(p.x1, r.WindowS*1.5)
		p.y0, p.y1 = min(p.y0, r.BoundCents, r.RMSE), max(p.y1, r.BoundCents, r.RMSE)
		if !slices.Contains(p.windowsOfX, r.WindowS) {
			p.windowsOfX = append(p.windowsOfX, r.WindowS)
		}
	}
	p.y0, p.y1 = math.Pow(10, math.Floor(math.Log10(p.y0))), math.Pow(10, math.Ceil(math.Log10(p.y1)))
	return p
}

func (p *plot) x(left, windowS float64) float64 {
	return left + panelWide*math.Log(windowS/p.x0)/math.Log(p.x1/p.x0)
}

func (p *plot) y(cents float64) float64 {
	return plotTop + panelHigh*(1-math.Log(cents/p.y0)/math.Log(p.y1/p.y0))
}

func (p *plot) panel(left, snr float64, shown []Result) {
	p.text(left+panelWide/2, plotTop-10, "middle", "#222222", fmt.Sprintf("SNR %g dB", snr))
	for y := p.y0; y < p.y1*1.01; y *= 10 {
		p.line(left, p.y(y), left+panelWide, p.y(y))
		if left == plotLeft {
			p.text(left-6, p.y(y)+4, "end", "#222222", strconv.FormatFloat(y, 'f', max(0, -int(math.Round(math.Log10(y)))), 64))
		}
	}
	for _, s := range p.windowsOfX {
		p.line(p.x(left, s), plotTop, p.x(left, s), plotTop+panelHigh)
		p.text(p.x(left, s), plotTop+panelHigh+16, "middle", "#222222", fmt.Sprintf("%g", 1000*s))
	}
	p.text(left+panelWide/2, plotTop+panelHigh+36, "middle", "#222222", "window, ms")
	labelY := math.Inf(-1) // notes run from the largest error down the panel; their names keep clear of each other
	for _, n := range plotted {
		var results []Result
		for _, r := range shown {
			if r.Name == n.note && r.SNRdB == snr {
				results = append(results, r)
			}
		}
		if len(results) == 0 {
			continue
		}
		last := p.series(left, n.colour, results)
		labelY = max(p.y(last.BoundCents)+4, labelY+13)
		p.text(p.x(left, last.WindowS)+8, labelY, "start", n.colour, n.note)
	}
}

// series draws one note and returns its longest window.
func (p *plot) series(left float64, colour string, results []Result) Result {
	slices.SortFunc(results, func(a, b Result) int { return int(math.Copysign(1, a.WindowS-b.WindowS)) })
	var points []string
	for _, r := range results {
		points = append(points, fmt.Sprintf("%.1f,%.1f", p.x(left, r.WindowS), p.y(r.BoundCents)))
		fmt.Fprintf(&p.b, `<circle cx="%.1f" cy="%.1f" r="3.5" fill="%s"/>`+"\n", p.x(left, r.WindowS), p.y(r.RMSE), colour)
	}
	fmt.Fprintf(&p.b, `<polyline points="%s" fill="none" stroke="%s" stroke-width="1.5"/>`+"\n", strings.Join(points, " "), colour)
	return results[len(results)-1]
}

func (p *plot) line(x1, y1, x2, y2 float64) {
	fmt.Fprintf(&p.b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#dddddd"/>`+"\n", x1, y1, x2, y2)
}

func (p *plot) text(x, y float64, anchor, colour, s string) {
	fmt.Fprintf(&p.b, `<text x="%.1f" y="%.1f" text-anchor="%s" fill="%s">%s</text>`+"\n", x, y, anchor, colour, html.EscapeString(s))
}
