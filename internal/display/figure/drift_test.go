package figure

import (
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
	"time"
)

func TestDriftPlotPlacesWhatItIsGiven(t *testing.T) {
	at := func(day int) time.Time { return time.Date(2001, 2, day, 12, 0, 0, 0, time.UTC) }
	sitting := func(day int, found, left float64) DriftSitting {
		return DriftSitting{Found: DriftPoint{at(day), found}, Left: DriftPoint{at(day).Add(time.Minute), left}}
	}
	p := DriftPlot{Title: "<pitch> & strings", Strings: []DriftStrip{
		{Label: "1 E4", Verdict: "settled", Sittings: []DriftSitting{sitting(1, -9, 0), sitting(5, 10, 0), {Found: DriftPoint{at(9), -500}, Left: DriftPoint{at(9), math.NaN()}, Broken: true}}},
		{Label: "2 B3", Sittings: []DriftSitting{sitting(3, 0, 0)}},
	}, Changes: []DriftChange{{at(4), -1}, {at(6), 1}, {at(28), 0}}}
	svg := p.Draw().SVG()
	wellFormed(t, svg)
	for text, want := range map[string]int{
		`class="mark paper"`:  4 + 1,     // as found, and the legend
		`class="other"`:       1 + 2 + 1, // the legend, all strings, string 2; the last is outside
		`class="mark"`:        1,         // from day 1 to day 5; not where it is broken
		"&lt;pitch&gt; &amp;": 2,         // title and heading
		"2001-02-01":          1,
		"+60":                 2, // the scale ends at 60 cents in each strip
		"-500":                1, // what lies outside is told
		"off the scale":       1,
	} {
		if got := strings.Count(svg, text); got != want {
			t.Errorf("%d times %q, want %d", got, text, want)
		}
	}
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Error("a place is no number")
	}
	// Ten cents sharp lie above nine cents flat.
	_, high := place(t, svg, 0)
	_, low := place(t, svg, 1)
	if !(high > low) {
		t.Errorf("-9 cents at y %g, +10 cents at y %g", high, low)
	}
}

// TestDriftPlotWithinTheScaleHasNoArrows: nothing is marked where all is shown.
func TestDriftPlotWithinTheScaleHasNoArrows(t *testing.T) {
	at := time.Date(2001, 2, 1, 12, 0, 0, 0, time.UTC)
	p := DriftPlot{Title: "x", Strings: []DriftStrip{{Label: "1 E4", Sittings: []DriftSitting{{Found: DriftPoint{at, -50}, Left: DriftPoint{at, 3}}}}}}
	if svg := p.Draw().SVG(); strings.Contains(svg, "off the scale") {
		t.Error("an arrow, and all is within 60 cents")
	}
}

func TestDriftPlotOfNothing(t *testing.T) {
	svg := DriftPlot{Title: "x"}.Draw().SVG()
	wellFormed(t, svg)
	if !strings.Contains(svg, "no readings") {
		t.Error("it does not say so")
	}
}

// place returns the centre of ring n of the strips.
func place(t *testing.T, svg string, n int) (x, y float64) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	for n++; ; { // the first ring is that of the legend
		token, err := dec.Token()
		if err != nil {
			t.Fatalf("no ring %d: %v", n, err)
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local != "circle" {
			continue
		}
		var c struct {
			X     float64 `xml:"cx,attr"`
			Y     float64 `xml:"cy,attr"`
			Class string  `xml:"class,attr"`
		}
		if err := dec.DecodeElement(&c, &e); err != nil {
			t.Fatal(err)
		}
		if c.Class != "mark paper" {
			continue
		}
		if n == 0 {
			return c.X, c.Y
		}
		n--
	}
}

func wellFormed(t *testing.T, svg string) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		if _, err := dec.Token(); err == io.EOF {
			return
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
