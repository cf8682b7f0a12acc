package figure

import (
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
)

// TestSVGIsWellFormed reads the document with the standard library's XML parser, whatever the
// texts hold.
func TestSVGIsWellFormed(t *testing.T) {
	hostile := "<b>&\"'\x00\x1b\xff]]>"
	c := NewCanvasMM(210, 297, hostile)
	c.Line(0, 0, 10, 10, hostile)
	c.Rect(1, 2, 3, math.Inf(1), "soft")
	c.Circle(math.NaN(), 1, 2, "mark")
	c.Path([][2]float64{{1, 2}, {3, 4}, {5, 6}}, "ink")
	c.Path([][2]float64{{1, 2}}, "ink")
	c.Text(5, 5, 0, hostile, "label")
	c.TextUp(5, 5, 4, hostile, "")
	elements, text := read(t, c.SVG())
	for name, want := range map[string]int{"svg": 1, "line": 1, "rect": 1, "circle": 1, "path": 1, "text": 2, "title": 1, "b": 0} {
		if elements[name] != want {
			t.Errorf("%d elements %s, want %d", elements[name], name, want)
		}
	}
	if !strings.Contains(text, "<b>&\"'") {
		t.Errorf("text reads %q", text)
	}
	if !strings.Contains(c.SVG(), `width="210mm" height="297mm" viewBox="0 0 210 297"`) {
		t.Error("one unit is not one millimetre")
	}
	if !strings.Contains(c.SVG(), `d="M1 2L3 4L5 6"`) {
		t.Error("path does not go through its points")
	}
}

func TestNum(t *testing.T) {
	for x, want := range map[float64]string{0: "0", -0.00001: "0", 1: "1", 100: "100", 1.25: "1.25", 0.12345: "0.1235", math.Inf(-1): "0"} {
		if got := num(x); got != want {
			t.Errorf("num(%g) = %s, want %s", x, got, want)
		}
	}
}

// read counts the elements of a document and joins its text.
func read(t *testing.T, doc string) (elements map[string]int, text string) {
	t.Helper()
	elements = map[string]int{}
	for d := xml.NewDecoder(strings.NewReader(doc)); ; {
		token, err := d.Token()
		if err == io.EOF {
			return elements, text
		}
		if err != nil {
			t.Fatalf("not well-formed: %v in %s", err, doc)
		}
		switch token := token.(type) {
		case xml.StartElement:
			elements[token.Name.Local]++
		case xml.CharData:
			text += string(token)
		}
	}
}
