package figure

import (
	"strings"
	"testing"
)

// What is drawn is to scale along the neck: the twelfth fret lies halfway from nut to saddle, a
// dot lies on its fret, and nothing lies outside of the picture.
func TestDrawBoard(t *testing.T) {
	b := guitar650()
	twelve := b.Slots[12].Points[5]
	marks := []Mark{{Spot: twelve, Label: "2/1", Kind: DotMark}, {Spot: b.Strings[0].Nut, Kind: SilentMark},
		{Spot: Spot{487.5, b.Strings[2].across(487.5)}, Kind: RingMark}, {Spot: Spot{325, b.Strings[1].across(325)}, Label: "2", Kind: TouchMark}}
	c := DrawBoard(b, []Panel{{Caption: "one <two>", Marks: marks}, {Caption: "again"}})
	svg := c.SVG()
	d := boardDrawing{b: b}
	d.from, d.to = d.window(nil)
	d.scale = (boardWidth - boardLeft - boardRight) / (d.to - d.from)
	middle := (d.x(0) + d.x(650)) / 2
	if diff := middle - d.x(325); diff > 1e-9 || diff < -1e-9 {
		t.Errorf("325 mm lies at %g, want the middle %g", d.x(325), middle)
	}
	if want := `<circle cx="` + num(d.x(325)) + `"`; !strings.Contains(svg, want) {
		t.Errorf("no dot at %s", want)
	}
	for _, want := range []string{"one &lt;two&gt;", "again", ">2/1<", ">12<", ">20<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture lacks %s", want)
		}
	}
	width, height := c.Size()
	for _, s := range readSVG(t, c) {
		if min(s.x1, s.x2) < 0 || max(s.x1, s.x2) > width || min(s.y1, s.y2) < 0 || max(s.y1, s.y2) > height {
			t.Errorf("%+v lies outside", s)
		}
	}
}

// Boards of one string, and without any fret, have a picture too.
func TestDrawBoardOfLittle(t *testing.T) {
	one := Board{Title: "x", Strings: []BoardString{{Label: "A", Nut: Spot{0, 0}, Saddle: Spot{600, 0}}}}
	one.Slots = []Slot{{Kind: NutSlot, Points: []Spot{{0, -5}, {0, 0}, {0, 5}}}, {Kind: SaddleSlot, Points: []Spot{{600, -5}, {600, 0}, {600, 5}}}}
	svg := DrawBoard(one, []Panel{{}}).SVG()
	if strings.Contains(svg, "NaN") || strings.Count(svg, "<path") != 2 {
		t.Errorf("want nut and saddle:\n%s", svg)
	}
}
