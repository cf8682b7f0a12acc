package figure

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The twelve notes of equal temperament stand at the hours of a clock.
func TestRingPlaces(t *testing.T) {
	r := Ring{Title: "12edo", Period: "2/1", PeriodCents: 1200}
	for i := range 12 {
		r.Notes = append(r.Notes, RingNote{Cents: 100 * float64(i), Label: strconv.Itoa(i)})
	}
	doc := r.Draw().SVG()
	elements, text := read(t, doc)
	if elements["circle"] != 14 { // two rings and the notes
		t.Errorf("%d circles", elements["circle"])
	}
	for hour, want := range map[int][2]float64{0: {380, 110}, 3: {650, 380}, 6: {380, 650}, 9: {110, 380}} {
		if at := fmt.Sprintf(`<circle cx="%s" cy="%s" r="4"`, num(want[0]), num(want[1])); !strings.Contains(doc, at) {
			t.Errorf("no note at %d o'clock: %s", hour, at)
		}
	}
	for i := range 12 {
		if !strings.Contains(text, "\n"+strconv.Itoa(i)+"\n") {
			t.Errorf("label %d is missing", i)
		}
	}
}

func TestRingKeepsLabelsApart(t *testing.T) {
	r := Ring{PeriodCents: 1200}
	for i := range 311 {
		r.Notes = append(r.Notes, RingNote{Cents: 1200 * float64(i) / 311, Label: "x" + strconv.Itoa(i)})
	}
	_, text := read(t, r.Draw().SVG())
	labels := strings.Count(text, "x")
	if labels < 20 || labels > 60 {
		t.Errorf("%d labels are written", labels)
	}
}

// Points lie lower the smaller their error, in steps as their logarithms.
func TestErrorPlotScale(t *testing.T) {
	p := ErrorPlot{Title: "t", Axis: "cents", Points: []ErrorPoint{{Division: 5, Error: 40}, {Division: 6, Error: 20}, {Division: 7, Error: 10}}}
	doc := p.Draw().SVG()
	found := regexp.MustCompile(`<circle cx="([\d.]+)" cy="([\d.]+)"`).FindAllStringSubmatch(doc, -1)
	if len(found) != 3 {
		t.Fatalf("%d points", len(found))
	}
	var x, y [3]float64
	for i, f := range found {
		x[i], _ = strconv.ParseFloat(f[1], 64)
		y[i], _ = strconv.ParseFloat(f[2], 64)
	}
	if !(x[0] < x[1] && x[1] < x[2]) || !(y[0] < y[1] && y[1] < y[2]) {
		t.Errorf("points at %v, %v", x, y)
	}
	if math.Abs((y[1]-y[0])-(y[2]-y[1])) > 0.001 {
		t.Errorf("halving moves a point by %v and by %v", y[1]-y[0], y[2]-y[1])
	}
}

func TestFiguresOfNothing(t *testing.T) {
	read(t, Ring{PeriodCents: 1200}.Draw().SVG())
	read(t, ErrorPlot{Title: "<nothing>"}.Draw().SVG())
	read(t, ErrorPlot{Points: []ErrorPoint{{Label: "a very long name & more", Error: 0}}}.Draw().SVG())
}
