package term

import (
	"math"
	"strconv"

	"tunerd/internal/display"
)

// The proportions of the pattern. A band of partial k has stripes 1/√k as far apart as that of
// partial 1, so a higher band is finer and also moves faster for the same error: √k times.
const (
	lightShare  = 0.42 // of a period
	minPeriod   = 5.0  // cells
	staleAfterS = 0.25 // s without a frame after which the pattern stops: it would be invention
)

// periodCells returns the width in cells of one period of partial k in a band of w cells.
func periodCells(w, k int) float64 {
	first := min(max(float64(w)/4.5, 15), 44)
	return max(first/math.Sqrt(float64(max(k, 1))), minPeriod)
}

// phaseNow returns the position of the pattern in turns, elapsed seconds after the frame that b
// is part of: the measured phase, carried on by the measured drift.
func phaseNow(b *display.Band, elapsed float64) float64 {
	return b.PhaseTurns + b.DriftHz*min(max(elapsed, 0), staleAfterS)
}

// contrast returns how much of the stripes is left, 1 to 0, when a pattern of drift turns a
// second is drawn once every shutter seconds. It is the contrast behind a shutter that stays
// open for two drawings, sin(x)/x with x = 2π·drift·shutter, and 0 from the first zero on: there,
// at half a turn a drawing, the eye could no longer tell right from left.
func contrast(drift, shutter float64) float64 {
	x := 2 * math.Pi * math.Abs(drift) * shutter
	switch {
	case x >= math.Pi:
		return 0
	case x < 1e-4:
		return 1
	}
	return math.Sin(x) / x
}

// A stripes is the pattern of one band, ready to be drawn.
type stripes struct {
	period      float64 // cells
	phase       float64 // turns; at 0 a light stripe stands in the middle of the band
	light, dark ink
}

var eighths = [...]string{" ", "▏", "▎", "▍", "▌", "▋", "▊", "▉"}
var shades = [...]string{" ", "░", "▒", "▓", "█"}

// drawStripes fills a rectangle with the pattern. An edge is placed to an eighth of a cell;
// without colours to one of five shades.
func (c *canvas) drawStripes(r rect, p stripes) {
	bright := lightShare * p.period
	at := math.Mod(-float64(r.w)/2-p.phase*p.period+bright/2, p.period)
	if at < 0 {
		at += p.period
	}
	for x := range r.w {
		s, st := c.stripeCell(at, bright, p)
		for y := range r.h {
			c.set(r.x+x, r.y+y, s, st)
		}
		if at++; at >= p.period {
			at -= p.period
		}
	}
}

// stripeCell returns the cell that begins at cells after the left edge of a light stripe, which
// is bright cells wide.
func (c *canvas) stripeCell(at, bright float64, p stripes) (string, style) {
	left, right, edge := p.light, p.light, 1.0
	switch {
	case at >= bright && at+1 <= p.period:
		left, right = p.dark, p.dark
	case at >= bright:
		left, right, edge = p.dark, p.light, p.period-at
	case at+1 > bright:
		left, right, edge = p.light, p.dark, bright-at
	}
	if c.depth == mono {
		l := left.lightness()*edge + right.lightness()*(1-edge)
		return shades[int(math.Round(l*float64(len(shades)-1)))], on(text)
	}
	n := int(math.Round(edge * 8))
	switch {
	case left == right || n == 8:
		return " ", style{fg: text, bg: left}
	case n == 0:
		return " ", style{fg: text, bg: right}
	}
	return eighths[n], style{fg: left, bg: right}
}

// drawStrobe draws the bands of the scene into r, one under the other, with their partials at
// the left and, where there is room, their drift at the right.
func (c *canvas) drawStrobe(r rect, s *scene) {
	bands := s.bands()
	heights, gap := bandHeights(r.h, len(bands))
	y := r.y
	for i, h := range heights {
		b := &bands[i]
		band := rect{r.x + 3, y, r.w - 3, h}
		middle := y + (h-1)/2
		c.putRight(r.x+2, middle, strconv.Itoa(b.Partial), on(dim))
		if r.w >= 60 {
			band.w -= 11
			if b.Clear && s.sounding() {
				c.putRight(r.x+r.w, middle, minus(display.BeatHz(b.DriftHz, s.frame.F1Hz*float64(b.Partial), s.frame.SigmaCents))+" Hz", on(dim))
			}
		}
		c.drawBand(band, middle, b, s)
		y += h + gap
	}
}

// bandHeights divides rows among n bands, the first of which gets up to twice its share. Bands
// for which there is no row are dropped from the end.
func bandHeights(rows, n int) (heights []int, gap int) {
	n = min(n, max(rows, 0))
	if n == 0 {
		return nil, 0
	}
	if rows >= 3*n-1 {
		gap = 1
		rows -= n - 1
	}
	heights = make([]int, n)
	each := max(rows/(n+1), 1)
	for i := range heights {
		heights[i] = each
	}
	rest := rows - n*each // between nothing and each + n
	more := max(rest-each, 0)
	for i := 1; i < n && more > 0; i++ {
		heights[i]++
		more--
		rest--
	}
	heights[0] += rest
	return heights, gap
}

// drawBand draws one band: stripes when its partial is clear, a line when nothing sounds.
func (c *canvas) drawBand(r rect, middle int, b *display.Band, s *scene) {
	switch {
	case !s.sounding() || s.doubted():
		c.drawRest(r, middle, s.frame.State)
	case !b.Clear:
		c.fill(r.x, r.y, r.w, r.h, style{fg: faint, bg: tuneTint.ramp(0)})
		c.putCentre(r.x, middle, r.x+r.w, "partial "+strconv.Itoa(b.Partial)+" not clear", style{fg: dim, bg: tuneTint.ramp(0)})
	default:
		look := contrast(b.DriftHz, s.shutter)
		tint, bright := s.tint(), brightness(b.LevelDB, s.loudest())
		c.drawStripes(r, stripes{
			period: periodCells(r.w, b.Partial),
			phase:  phaseNow(b, s.elapsed),
			light:  tint.ramp(bright * (lightShare + (1-lightShare)*look)),
			dark:   tint.ramp(bright * lightShare * (1 - look)),
		})
		if look < 0.1 {
			c.drawTooFast(r, middle, b.DriftHz, tint.ramp(bright*lightShare))
		}
	}
}

// drawRest draws a band while nothing sounds: a line, broken while the tuner listens.
func (c *canvas) drawRest(r rect, middle int, state display.State) {
	line := "─"
	if state == display.Unsure {
		line = "╌"
	}
	for x := range r.w {
		c.set(r.x+x, middle, line, on(faint))
	}
}

// drawTooFast says with arrow heads which way a pattern goes that is too fast to be drawn.
func (c *canvas) drawTooFast(r rect, middle int, drift float64, bg ink) {
	head := "›"
	if drift < 0 {
		head = "‹"
	}
	for x := r.w % 6 / 2; x < r.w; x += 6 {
		c.set(r.x+x, middle, head, style{fg: text, bg: bg, bold: true})
	}
}

// brightness returns 1 for the loudest partial and less for weaker ones, down to 0.6 at 48 dB
// below it.
func brightness(levelDB, loudestDB float64) float64 {
	below := loudestDB - levelDB
	if math.IsNaN(below) {
		return 1
	}
	return max(1-max(below, 0)/120, 0.6)
}

// drawGuide writes under the strobe what its movement means, and lights what it says now.
func (c *canvas) drawGuide(r rect, s *scene) {
	x, end := r.x+3, r.x+r.w
	if r.w >= 60 {
		end -= 11
	}
	if st, ok := c.guideStyle(s, flatTint); ok {
		c.put(x, r.y, end, "← flat", st)
	}
	c.drawLegend(x, r.y, end, s)
	if st, ok := c.guideStyle(s, sharpTint); ok {
		c.putRight(end, r.y, "sharp →", st)
	}
}

// drawLegend writes in the middle of the guide what stripes at rest mean, and what they are compared
// with.
func (c *canvas) drawLegend(x, y, end int, s *scene) {
	long, short := "partials of this string", "string"
	if s.frame.Rows == display.HarmonicRows {
		long, short = "exact harmonics", "harmonics"
	}
	const word, sides = "in tune", 2 * 9 // the words at the ends
	more := " (" + long + ")"
	if cellWidth(word+more) > end-x-sides {
		more = " (" + short + ")"
	}
	x = max(x, x+(end-x-cellWidth(word+more))/2)
	if st, ok := c.guideStyle(s, tuneTint); ok {
		c.put(x, y, end, word, st)
	}
	c.put(x+cellWidth(word), y, end, more, on(faint))
}

// guideStyle returns the style of a word of the guide; false if it is better left out, because
// without colours nothing would set it apart from the word that applies.
func (c *canvas) guideStyle(s *scene, of tint) (style, bool) {
	if s.sounding() && s.tint() == of {
		return strong(of.ink()), true
	}
	return on(faint), !s.sounding() || c.depth != mono
}
