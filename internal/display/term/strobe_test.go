package term

import (
	"fmt"
	"math"
	"testing"

	"tunerd/internal/display"
)

// edges returns where dark turns into light in row y of columns x to end, in cells from x.
func edges(t *testing.T, c *canvas, x, end, y int) []float64 {
	t.Helper()
	light := func(i ink) bool { return i.lightness() > 0.3 }
	var found []float64
	before := true // so that the start of the band is no edge
	for col := x; col < end; col++ {
		cell := c.cells[y*c.w+col]
		left, right, part := cell.st.bg, cell.st.bg, 0
		for n, s := range eighths {
			if n > 0 && cell.text == s {
				left, part = cell.st.fg, n
			}
		}
		if light(left) && !before {
			found = append(found, float64(col-x))
		}
		if light(right) && !light(left) {
			found = append(found, float64(col-x)+float64(part)/8)
		}
		before = light(right)
	}
	if len(found) < 2 {
		t.Fatalf("row %d has %d edges, want some stripes", y, len(found))
	}
	return found
}

// moved returns how far the pattern went from the edges a to the edges b, in cells, taken as
// the shortest way for a pattern with this period.
func moved(a, b []float64, period float64) float64 {
	d := math.Mod(b[0]-a[0], period)
	if d > period/2 {
		d -= period
	}
	if d < -period/2 {
		d += period
	}
	return d
}

// An edge is drawn to the nearest eighth of a cell, so the distance of two is good to an eighth.
const edgeError = 0.125 + 1e-9

func TestPhaseMovesPatternRight(t *testing.T) {
	for _, d := range []depth{direct, cube, basic} {
		for _, partial := range []int{1, 2, 3, 5, 7} {
			for _, width := range []int{36, 64, 105, 284} {
				period := periodCells(width, partial)
				draw := func(phase float64) []float64 {
					var c canvas
					c.reset(width, 1, d)
					c.drawStripes(rect{0, 0, width, 1}, stripes{period, phase, tuneTint.ramp(1), tuneTint.ramp(0)})
					return edges(t, &c, 0, width, 0)
				}
				for _, from := range []float64{0, 0.23, 0.5, 0.95} {
					got, want := moved(draw(from), draw(from+0.1), period), 0.1*period
					if math.Abs(got-want) > edgeError {
						t.Errorf("%s, partial %d, %d cells: phase %g + 0.1 turn moves the pattern %+.3f cells, want %+.3f",
							depthNames[d], partial, width, from, got, want)
					}
				}
			}
		}
	}
}

func TestStripesAreEvenlySpaced(t *testing.T) {
	var c canvas
	c.reset(284, 1, direct)
	period := periodCells(284, 5)
	c.drawStripes(rect{0, 0, 284, 1}, stripes{period, 0.37, tuneTint.ramp(1), tuneTint.ramp(0)})
	e := edges(t, &c, 0, 284, 0)
	for i := 1; i < len(e); i++ {
		if d := e[i] - e[i-1]; math.Abs(d-period) > edgeError {
			t.Errorf("stripe %d follows after %.3f cells, want %.3f", i, d, period)
		}
	}
}

// The strobe's convention: right when sharp, left when flat, still in tune, at the speed of the
// measured drift. The frame stays the same; only time passes. Cents and verdict are made to
// contradict the bands, to show that the picture does not come from them.
func TestDriftMovesPattern(t *testing.T) {
	const band, passed = 0, 0.1 // s
	for _, drift := range []float64{1.7, 0.4, 0, -0.4, -1.7} {
		f := fakeFrame(-20*drift, 0)
		for i := range f.Bands {
			f.Bands[i].DriftHz, f.Bands[i].PhaseTurns = drift, 0.3
		}
		l := arrange(120, 40, len(f.Strings))
		draw := func(elapsed float64) []float64 {
			s := fakeScene(f)
			s.elapsed = elapsed
			var c canvas
			c.draw(s, 120, 40, direct)
			return edges(t, &c, l.strobe.x+3, l.strobe.x+l.strobe.w-11, l.strobe.y+band)
		}
		period := periodCells(l.strobe.w-14, 1)
		got, want := moved(draw(0), draw(passed), period), drift*passed*period
		if math.Abs(got-want) > edgeError {
			t.Errorf("drift %+g Hz moves the pattern %+.3f cells in %g s, want %+.3f", drift, got, passed, want)
		}
	}
}

// A frame that stays away must not leave a pattern that runs on by itself.
func TestPatternStopsWithoutFrames(t *testing.T) {
	b := display.Band{PhaseTurns: 0.2, DriftHz: 3}
	if a, b := phaseNow(&b, staleAfterS), phaseNow(&b, 10); a != b {
		t.Errorf("phase %g after %g s without a frame, %g after 10 s; want them equal", a, staleAfterS, b)
	}
}

// The contrast behind an open shutter is the mean of the pattern's fundamental over the time it
// is open: here summed numerically.
func TestContrast(t *testing.T) {
	const shutter = 1.0 / 32
	for _, drift := range []float64{0, 0.5, 3, 9, -9, 15} {
		const n = 10000
		mean := 0.0
		for i := range n {
			at := ((float64(i)+0.5)/n*2 - 1) * shutter
			mean += math.Cos(2*math.Pi*drift*at) / n
		}
		if got := contrast(drift, shutter); math.Abs(got-mean) > 1e-6 {
			t.Errorf("contrast(%g Hz) = %g, want %g", drift, got, mean)
		}
	}
	for _, drift := range []float64{16, 17, 24, 31, 33, -1000} {
		if got := contrast(drift, shutter); got > 1e-12 {
			t.Errorf("contrast(%g Hz) = %g, want 0: at half a turn a drawing the eye is deceived", drift, got)
		}
	}
}

func TestBandHeights(t *testing.T) {
	for rows := range 80 {
		for n := range 9 {
			heights, gap := bandHeights(rows, n)
			sum := gap * max(len(heights)-1, 0)
			for i, h := range heights {
				sum += h
				if h < 1 || h > heights[0] {
					t.Errorf("bandHeights(%d, %d) = %v: band %d", rows, n, heights, i)
				}
			}
			if want := min(rows, n); len(heights) != want || sum > rows || want > 0 && sum != rows {
				t.Errorf("bandHeights(%d, %d) = %v with gap %d: %d rows for %d bands", rows, n, heights, gap, sum, len(heights))
			}
		}
	}
}

func BenchmarkDraw(b *testing.B) {
	for _, size := range [][2]int{{80, 24}, {120, 40}, {300, 80}} {
		b.Run(fmt.Sprintf("size=%dx%d", size[0], size[1]), func(b *testing.B) {
			s := fakeScene(fakeFrame(2.1, 0.3))
			var c canvas
			b.ReportAllocs()
			for b.Loop() {
				s.elapsed += 0.001
				c.draw(s, size[0], size[1], direct)
				c.encode()
			}
		})
	}
}
