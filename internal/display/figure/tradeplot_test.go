package figure

import (
	"math"
	"strings"
	"testing"
)

// Twice as much lies twice as far from the corner, and labels do not run into one another.
func TestTradePlot(t *testing.T) {
	p := TradePlot{Title: "a & b", Across: "chosen", Up: "rest", HasApart: true, Apart: TradePoint{X: 10, Y: 5, Label: "as it is"},
		Points: []TradePoint{{0, 8, "0"}, {0.01, 8, "hidden"}, {5, 4, "0.5"}, {10, 2, "1"}}}
	doc := p.Draw().SVG()
	elements, text := read(t, doc)
	if elements["circle"] != 5 || !strings.Contains(text, "a & b") || !strings.Contains(text, "as it is") || strings.Contains(text, "hidden") {
		t.Errorf("%v\n%s", elements, text)
	}
	x := axis(10, 70, 620)
	if math.Abs((x.at(10)-x.at(0))-2*(x.at(5)-x.at(0))) > 1e-9 || x.at(0) != 70 || x.at(x.most) > 620.001 || x.step != 2 {
		t.Errorf("%+v", x)
	}
	read(t, TradePlot{}.Draw().SVG())
	read(t, TradePlot{Points: []TradePoint{{math.NaN(), math.Inf(1), ""}}}.Draw().SVG())
}
