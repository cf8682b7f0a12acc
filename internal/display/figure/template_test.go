package figure

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Distances nut to fret on a 650 mm scale: X_n = X_0·2^(−n/12), G. Byers, intonation pages
// (byersguitars.com/intonation), worked out with 40 digits.
var byers650 = []float64{36.4817, 70.9158, 103.4173, 134.0947, 163.0502, 190.3806, 216.1770, 240.5257, 263.5077, 285.1998, 305.6745, 325.0000,
	343.2408, 360.4579, 376.7087, 392.0473, 406.5251, 420.1903, 433.0885, 445.2628, 456.7538, 467.5999, 477.8372, 487.5000}

// guitar650 is a board with these frets and a saddle.
func guitar650() Board {
	b := Board{Title: "Test ♯♭"}
	for i := range 6 {
		across := float64(i) - 2.5
		b.Strings = append(b.Strings, BoardString{Label: "s", Nut: Spot{0, across * 7}, Saddle: Spot{650, across * 10}})
	}
	add := func(at float64, label string, kind SlotKind) {
		s := Slot{Label: label, Kind: kind}
		for i := range 6 {
			s.Points = append(s.Points, Spot{at, b.Strings[i].across(at)})
		}
		b.Slots = append(b.Slots, s)
	}
	add(0, "nut", NutSlot)
	for i, x := range byers650 {
		add(x, strconv.Itoa(i+1), FretSlot)
	}
	add(650, "saddle", SaddleSlot)
	return b
}

// A stroke is a line on a page, in mm from the top left.
type stroke struct{ x1, y1, x2, y2 float64 }

func (s stroke) length() float64 { return math.Hypot(s.x2-s.x1, s.y2-s.y1) }

func (s stroke) level() bool { return math.Abs(s.y1-s.y2) < 0.005 }

var (
	pdfStream = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)
	pdfLine   = regexp.MustCompile(`(?m)^([-0-9.]+) ([-0-9.]+) m ([-0-9.]+) ([-0-9.]+) l S$`)
	mediaBox  = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)
)

// readPDF returns the straight lines of every page as they stand in the content streams. A point
// of PDF is 1/72 inch, and y counts upwards (ISO 32000-1, 8.3.2.3).
func readPDF(t *testing.T, file []byte) (pages [][]stroke, width, height float64) {
	t.Helper()
	const mm = 25.4 / 72
	number := func(b []byte) float64 {
		x, err := strconv.ParseFloat(string(b), 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	box := mediaBox.FindSubmatch(file)
	if box == nil {
		t.Fatal("no MediaBox")
	}
	width, height = number(box[1])*mm, number(box[2])*mm
	for _, m := range pdfStream.FindAllSubmatch(file, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue // not a compressed stream
		}
		content, _ := io.ReadAll(z)
		var strokes []stroke
		for _, l := range pdfLine.FindAllSubmatch(content, -1) {
			strokes = append(strokes, stroke{number(l[1]) * mm, height - number(l[2])*mm, number(l[3]) * mm, height - number(l[4])*mm})
		}
		if len(strokes) > 0 {
			pages = append(pages, strokes)
		}
	}
	return pages, width, height
}

// readSVG returns the straight lines of an SVG; its viewBox is in mm.
func readSVG(t *testing.T, c *Canvas) []stroke {
	t.Helper()
	var strokes []stroke
	for line := range strings.Lines(c.SVG()) {
		var s stroke
		if n, _ := fmt.Sscanf(line, `<line x1="%g" y1="%g" x2="%g" y2="%g"`, &s.x1, &s.y1, &s.x2, &s.y2); n == 4 {
			strokes = append(strokes, s)
		}
	}
	return strokes
}

// crossesOf returns the heights of the registration crosses on the left, from the top: level strokes
// of 8 mm in the margin.
func crossesOf(page []stroke) []float64 {
	var at []float64
	for _, s := range page {
		if s.level() && max(s.x1, s.x2) < 25 && math.Abs(s.length()-8) < 0.01 {
			at = append(at, s.y1)
		}
	}
	slices.Sort(at)
	return at
}

// measure lays the pages over one another, cross upon cross, as the user does, and returns the
// places of all slots from the first.
func measure(t *testing.T, pages [][]stroke, width float64) []float64 {
	t.Helper()
	var slots []float64
	offset := 0.0
	for i, page := range pages {
		if i > 0 {
			before, here := crossesOf(pages[i-1]), crossesOf(page)
			offset += before[len(before)-1] - here[0]
		}
		for _, s := range page {
			if s.level() && s.length() < 50 && math.Abs((s.x1+s.x2)/2-width/2) < 4 {
				slots = append(slots, s.y1+offset)
			}
		}
	}
	slices.Sort(slots)
	first := slots[0]
	for i := range slots {
		slots[i] -= first
	}
	return slots
}

func checkMeasured(t *testing.T, what string, pages [][]stroke, width float64) {
	t.Helper()
	want := append(append([]float64{0}, byers650...), 650)
	got := measure(t, pages, width)
	if len(got) != len(want) {
		t.Fatalf("%s: %d slots, want nut, 24 frets and saddle: %.2f", what, len(got), got)
	}
	worst := 0.0
	for i := range want {
		worst = max(worst, math.Abs(got[i]-want[i]))
	}
	if worst > 0.05 {
		t.Errorf("%s: a slot is %.3f mm off, want within 0.05", what, worst)
	}
	for i, page := range pages {
		across, down := 0, 0
		for _, s := range page {
			if math.Abs(s.length()-100) > 0.02 {
				continue
			}
			if s.level() {
				across++
			} else if math.Abs(s.x1-s.x2) < 0.005 {
				down++
			}
		}
		if across != 1 || down != 1 {
			t.Errorf("%s page %d: %d check lines of 100 mm across and %d down, want one each", what, i+1, across, down)
		}
	}
}

// WriteTemplatePDF is pdf.WriteTemplate, which this package cannot import: pdf_test.go sets it.
var WriteTemplatePDF func(io.Writer, Board, Paper) error

func TestTemplateMeasuredFromPDF(t *testing.T) {
	for _, c := range []struct {
		name          string
		width, height float64
		pages         int
	}{{"a4", 210, 297, 3}, {"letter", 215.9, 279.4, 4}} {
		paper, err := ParsePaper(c.name)
		if err != nil {
			t.Fatal(err)
		}
		var file, again bytes.Buffer
		if err := WriteTemplatePDF(&file, guitar650(), paper); err != nil {
			t.Fatal(err)
		}
		if err := WriteTemplatePDF(&again, guitar650(), paper); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(file.Bytes(), again.Bytes()) {
			t.Errorf("%s: a second file has other bytes", c.name)
		}
		pages, width, height := readPDF(t, file.Bytes())
		if math.Abs(width-c.width) > 0.01 || math.Abs(height-c.height) > 0.01 || len(pages) != c.pages {
			t.Errorf("%s: %d pages of %.2f × %.2f mm, want %d of %g × %g", c.name, len(pages), width, height, c.pages, c.width, c.height)
		}
		checkMeasured(t, c.name, pages, width)
		for i, page := range pages {
			for _, s := range page {
				if min(s.x1, s.x2) < 5 || max(s.x1, s.x2) > width-5 || min(s.y1, s.y2) < 5 || max(s.y1, s.y2) > height-5 {
					t.Errorf("%s page %d: a line runs into the 5 mm that printers leave blank: %+v", c.name, i+1, s)
				}
			}
		}
	}
}

func TestTemplateMeasuredFromSVG(t *testing.T) {
	a4, _ := ParsePaper("a4")
	for _, paper := range []Paper{{}, a4} {
		canvases, err := TemplateSVG(guitar650(), paper)
		if err != nil {
			t.Fatal(err)
		}
		var pages [][]stroke
		width, height := canvases[0].Size()
		for _, c := range canvases {
			pages = append(pages, readSVG(t, c))
		}
		if paper == (Paper{}) && len(canvases) != 1 {
			t.Errorf("without a paper there are %d sheets", len(canvases))
		}
		size := fmt.Sprintf(`width="%smm" height="%smm" viewBox="0 0 %s %s"`, num(width), num(height), num(width), num(height))
		if !strings.Contains(canvases[0].SVG(), size) {
			t.Errorf("the SVG is not in millimetres at 1:1, want %s", size)
		}
		checkMeasured(t, "SVG "+paper.Name, pages, width)
	}
}

// A slot within the overlap of two pages stands on one of them only; a slanted one that a page shows
// whole does so as well.
func TestSlotInTheOverlapStandsOnce(t *testing.T) {
	a4, _ := ParsePaper("a4")
	for at := 190.0; at < 240; at += 0.5 {
		b := guitar650()
		b.Slots = []Slot{{Label: "1", Points: []Spot{{at, -20}, {at + 6, 20}}}}
		canvases, err := TemplateSVG(b, a4)
		if err != nil {
			t.Fatal(err)
		}
		drawn := 0.0
		for _, c := range canvases {
			for _, s := range readSVG(t, c) {
				if slope := (s.y2 - s.y1) / (s.x2 - s.x1); math.Abs(slope+0.15) < 0.001 {
					drawn += s.length()
				}
			}
		}
		if math.Abs(drawn-math.Hypot(6, 40)) > 0.01 {
			t.Errorf("a slot at %.1f mm of %.2f mm is drawn %.2f mm long in all", at, math.Hypot(6, 40), drawn)
		}
	}
}

// A slot of a fan that runs over the edge of a page is cut there, and goes on on the next.
func TestSlantedSlotOverPages(t *testing.T) {
	b := guitar650()
	slant := Slot{Label: "1", Points: []Spot{{200, -20}, {260, 20}}}
	b.Slots = []Slot{slant}
	a4, _ := ParsePaper("a4")
	canvases, err := TemplateSVG(b, a4)
	if err != nil {
		t.Fatal(err)
	}
	parts, seen := 0, 0.0
	offset := 0.0
	var ends []float64
	for i, c := range canvases {
		page := readSVG(t, c)
		if i > 0 {
			before := crossesOf(readSVG(t, canvases[i-1]))
			offset += before[len(before)-1] - crossesOf(page)[0]
		}
		for _, s := range page {
			if slope := (s.y2 - s.y1) / (s.x2 - s.x1); math.Abs(slope+1.5) < 0.001 {
				parts++
				seen += s.length()
				ends = append(ends, s.y1+offset, s.y2+offset)
			}
		}
	}
	if parts != 2 || math.Abs(slices.Max(ends)-slices.Min(ends)-60) > 0.001 || math.Abs(seen-math.Hypot(60, 40)) > 0.01 {
		t.Errorf("%d parts of %.2f mm from %.2f to %.2f", parts, seen, slices.Min(ends), slices.Max(ends))
	}
}

func TestTemplateRefuses(t *testing.T) {
	b := guitar650()
	for i := range b.Strings {
		b.Strings[i].Saddle.Across *= 4
	}
	a4, _ := ParsePaper("a4")
	if _, err := TemplateSVG(b, a4); err == nil || !strings.Contains(err.Error(), "a4 has 210 mm") {
		t.Errorf("a board wider than the paper: %v", err)
	}
	if _, err := TemplateSVG(b, Paper{}); err != nil {
		t.Errorf("one sheet is as wide as needed: %v", err)
	}
	if _, err := ParsePaper("a3"); err == nil || !strings.Contains(err.Error(), "a4 or letter") {
		t.Error(err)
	}
}

// Any title makes a file: a question mark stands for what the font lacks.
func TestPDFOfAnyTitle(t *testing.T) {
	a4, _ := ParsePaper("a4")
	for _, title := range []string{"", "世界 🎸", "a\xffb", strings.Repeat("w", 400), "A♯ B♭ — “x”"} {
		b := guitar650()
		b.Title = title
		var file bytes.Buffer
		if err := WriteTemplatePDF(&file, b, a4); err != nil {
			t.Errorf("%q: %v", title, err)
		}
		if pages, _, _ := readPDF(t, file.Bytes()); len(pages) != 3 {
			t.Errorf("%q: %d pages", title, len(pages))
		}
	}
}

// The template of a fan says for both outer strings how far a slot lies from the nut, and which
// string is which on every page; that of parallel frets says it once.
func TestTemplateOfAFanSaysBothDistances(t *testing.T) {
	b := guitar650()
	b.Slots = nil
	for i, x := range byers650 {
		s := Slot{Label: strconv.Itoa(i + 1), Details: [2]string{fmt.Sprintf("%.2f mm", x), fmt.Sprintf("%.2f mm", 1.04*x)}}
		for k := range 6 {
			at := x * (1 + 0.04*float64(k)/5)
			s.Points = append(s.Points, Spot{at, b.Strings[k].across(at)})
		}
		b.Slots = append(b.Slots, s)
	}
	a4, _ := ParsePaper("a4")
	pages, err := TemplateSVG(b, a4)
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for i, p := range pages {
		all += p.SVG()
		for n := 1; n <= 6; n++ {
			if !strings.Contains(p.SVG(), fmt.Sprintf(">%d</text>", n)) {
				t.Errorf("page %d does not number string %d", i+1, n)
			}
		}
	}
	for i, x := range byers650 {
		for _, want := range []string{fmt.Sprintf(">%d  %.2f mm<", i+1, x), fmt.Sprintf(">%.2f mm  %d<", 1.04*x, i+1)} {
			if n := strings.Count(all, want); n != 1 {
				t.Errorf("fret %d: %q stands %d times", i+1, want, n)
			}
		}
	}
}
