package term

import (
	"math"
	"strconv"

	"tunerd/internal/display"
)

// drawPair draws how two strings beat into r: how fast, which way the interval is off, and which string to
// turn. Nothing of it moves, as the phase of a beat is not measured.
func (c *canvas) drawPair(r rect, s *scene) {
	b, pair := &s.beat, s.frame.Pair
	live := s.frame.Beat.Lower != "" && s.frame.State != display.Silent && !s.ended
	y := r.y
	x := c.put(r.x+1, y, r.x+r.w, pair.Lower+" – "+pair.Upper, strong(text))
	if b.Lower == "" {
		c.drawPairWaiting(rect{r.x, y + 2, r.w, r.h - 2}, s)
		return
	}
	c.putWhole(x+3, y, r.x+r.w, b.Ratio+" near "+strconv.FormatFloat(b.NearHz, 'f', 0, 64)+" Hz", on(dim))
	rate, tint := strong(sideTint(b.Side).ink()), on(text)
	if !live {
		rate, tint = on(dim), on(dim)
	}
	rows := r.y + r.h - y
	digits := display.Rate(b.BeatHz, b.SigmaHz)
	scale := 1
	if width, _ := bigWidth(digits, 2); rows >= 2*letterRows+8 && width <= r.w/2 {
		scale = 2
	}
	y += 1 + spare(rows > 9+letterRows)
	height := 1
	width, big := bigWidth(digits, scale)
	if big && width+26 <= r.w && rows >= letterRows+5 {
		c.putBig(r.x+1, y, digits, scale, rate)
		x, height = r.x+1+width+3, letterRows*scale
	} else {
		x = c.put(r.x+1, y, r.x+r.w, digits, rate) + 2
	}
	end := r.x + r.w
	c.put(x, y, end, "beats a second ± "+display.Sigma(b.SigmaHz), tint)
	for i, line := range pairWords(b, live) {
		c.put(x, y+1+i, end, line, tint)
	}
	y += max(4, height) + 1
	c.drawPairScale(rect{r.x + 1, y, r.w - 2, r.y + r.h - y}, s, rate)
}

// pairWords says which way the interval is off, what to do, and how old that is.
func pairWords(b *display.Beat, live bool) []string {
	words := []string{b.Interval()}
	if b.Turn != "" {
		words = append(words, "turn "+b.Turn)
	}
	if !live {
		words = append(words, "last; pluck both for a new one")
	}
	return words
}

// drawPairWaiting says what to do before anything is measured.
func (c *canvas) drawPairWaiting(r rect, s *scene) {
	c.put(r.x+1, r.y, r.x+r.w, "pluck both together and let them ring", on(text))
	word := string(s.frame.State)
	if s.sounding() {
		word = "one string alone: " + s.frame.Target.Label + " " + minus(display.Cents(s.frame.Cents, s.frame.SigmaCents)) + " cents, " + s.frame.Verdict
	}
	c.put(r.x+1, r.y+2, r.x+r.w, word, on(dim))
	c.put(r.x+1, r.y+3, r.x+r.w, "level  "+levelText(s.frame.LevelDB), on(dim))
}

// drawPairScale shows on the scale of cents how wide or narrow the interval is, and below it how each
// string lies against its own target.
func (c *canvas) drawPairScale(r rect, s *scene, st style) {
	b := &s.beat
	if r.h < 2 {
		return
	}
	c.drawScaleMarks(rect{r.x, r.y, r.w, 1})
	if b.Side != "unknown" {
		c.drawDeviation(rect{r.x, r.y + 1, r.w, 1}, b.Cents, b.CentsSigma, st)
	}
	if r.h < 3 {
		return
	}
	c.put(r.x, r.y+2, r.x+r.w, "← narrow", on(faint))
	c.putCentre(r.x, r.y+2, r.x+r.w, "pure", on(faint))
	c.putRight(r.x+r.w, r.y+2, "wide →", on(faint))
	if r.h < 5 {
		return
	}
	c.put(r.x, r.y+4, r.x+r.w, stringWords(b.Lower, b.LowerCents)+"   "+stringWords(b.Upper, b.UpperCents), on(dim))
}

// stringWords tells how a string of the pair lies against its own target, in cents.
func stringWords(name string, cents float64) string {
	if math.IsNaN(cents) {
		return name + " not heard apart"
	}
	return name + " " + minus(display.Cents(cents, 0.1)) + " cents"
}

// sideTint is the colour family of an interval: narrow is flat.
func sideTint(side string) tint {
	switch side {
	case "narrow":
		return flatTint
	case "wide":
		return sharpTint
	case "pure":
		return tuneTint
	}
	return openTint
}
