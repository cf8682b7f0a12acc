package term

import (
	"math"
	"strconv"
	"strings"

	"tunerd/internal/display"
)

// figuresWidth is what the column of figures needs beside block letters.
const figuresWidth = 26

// A figure is one line of the head: a value, and more about it where there is room.
type figure struct {
	label, value, more string
	st                 style
}

// headStyles are the styles of a reading; an old one is drawn weaker.
type headStyles struct{ note, cents, value, label style }

func stylesOf(s *scene, live bool) headStyles {
	if !live {
		return headStyles{on(dim), on(dim), on(dim), on(faint)}
	}
	return headStyles{strong(text), strong(s.tint().ink()), on(text), on(dim)}
}

// drawHead draws the note, its deviation and the figures of the reading into l.head.
func (c *canvas) drawHead(l *layout, s *scene) {
	f, live := s.reading()
	if f == nil {
		c.drawNothing(l.head, s)
		return
	}
	if live && s.doubted() {
		c.drawDoubt(l.head, f)
		return
	}
	st := stylesOf(s, live)
	width, big := bigWidth(f.Target.Label, l.scale)
	switch {
	case big && l.scale > 1 && width+48 <= l.head.w:
		c.drawLargeHead(l.head, l.scale, width, f, s, st)
	case big && c.drawMediumHead(l.head, f, s, st):
	default:
		c.drawSmallHead(l.head, f, s, st)
	}
}

// drawNothing fills the head before the first reading.
func (c *canvas) drawNothing(r rect, s *scene) {
	word, st := string(s.frame.State), on(dim)
	if word == "" {
		word = "waiting"
	}
	if s.frame.State == display.Unsure {
		st = on(text)
	}
	y := r.y + (r.h-1)/2
	c.putCentre(r.x, y, r.x+r.w, strings.Join(strings.Split(word, ""), " "), st)
	if s.frame.State == display.Silent || s.frame.State == display.Unsure {
		c.putCentre(r.x, y+2, r.x+r.w, "level  "+levelText(s.frame.LevelDB), on(dim))
	}
}

// drawLargeHead draws the note in letters of the given scale, the deviation in half of it and
// the figures in two columns below.
func (c *canvas) drawLargeHead(r rect, scale, noteWidth int, f *display.Frame, s *scene, st headStyles) {
	c.putBig(r.x+1, r.y, f.Target.Label, scale, st.note)
	x, end := r.x+1+noteWidth+3*scale, r.x+r.w
	half := scale / 2
	cents := bigCents(f, end-x, half)
	if cents == "" {
		half, cents = 1, bigCents(f, end-x, 1)
	}
	c.putBig(x, r.y, cents, half, st.cents)
	y := r.y + letterRows*half + 1
	c.putWhole(c.putCaption(x, y, end, f, s, st), y, end, place(f, s), st.label)
	figures := appendFigures(nil, f, s, st)
	rows := r.y + r.h - (y + 2)
	column := max(figuresWidth, (end-x)/2)
	for i, fig := range figures {
		if rows > 0 && x+i/rows*column+figuresWidth <= end {
			c.putFigure(x+i/rows*column, y+2+i%rows, end, fig, st)
		}
	}
}

// drawMediumHead draws note and deviation in letters of scale 1 beside the figures. It reports
// false, and draws nothing, if they do not fit.
func (c *canvas) drawMediumHead(r rect, f *display.Frame, s *scene, st headStyles) bool {
	noteWidth, _ := bigWidth(f.Target.Label, 1)
	x, figuresX := r.x+1+noteWidth+3, r.x+r.w-figuresWidth
	cents := bigCents(f, figuresX-3-x, 1)
	if cents == "" || r.h <= letterRows {
		return false
	}
	c.putBig(r.x+1, r.y, f.Target.Label, 1, st.note)
	c.putBig(x, r.y, cents, 1, st.cents)
	y := r.y + r.h - 1
	c.put(r.x+1, y, x-1, place(f, s), st.label)
	c.putCaption(x, y, figuresX-2, f, s, st)
	for i, fig := range appendFigures(nil, f, s, st) {
		if i < r.h {
			c.putFigure(figuresX, r.y+i, r.x+r.w, fig, st)
		}
	}
	return true
}

// drawSmallHead draws the note, in block letters if they leave room, and all figures as lines.
func (c *canvas) drawSmallHead(r rect, f *display.Frame, s *scene, st headStyles) {
	x := r.x + 1
	lines := make([]figure, 0, 10)
	if width, ok := bigWidth(f.Target.Label, 1); ok && width+22 <= r.w {
		x = c.putBig(x, r.y, f.Target.Label, 1, st.note) + 2
	} else {
		lines = append(lines, figure{"note", f.Target.Label, "", st.note})
	}
	lines = append(lines,
		figure{"cents", minus(display.Cents(f.Cents, f.SigmaCents)), " ±" + display.Sigma(f.SigmaCents), st.cents},
		figure{"state", stateWord(f, s), "", st.cents})
	for i, fig := range appendFigures(lines, f, s, st) {
		if i < r.h {
			c.putFigure(x, r.y+i, r.x+r.w, fig, st)
		}
	}
}

// drawDoubt says which string sounds instead of the held one, and what to do about it. It shows no
// deviation from the held string: nobody is to turn its peg by that.
func (c *canvas) drawDoubt(r rect, f *display.Frame) {
	held, seems := strconv.Itoa(f.Target.String), f.Seems.String
	x := r.x + 1
	label := "?"
	if seems != 0 {
		label = f.Seems.Label
	}
	if width, ok := bigWidth(label, 1); ok && r.h >= letterRows && width+36 <= r.w {
		x = c.putBig(x, r.y, label, 1, on(text)) + 3
	}
	put := func(row int, s string, st style) { c.put(x, r.y+row, r.x+r.w, s, st) }
	if seems != 0 {
		put(0, "sounds like string "+strconv.Itoa(seems)+", "+f.Seems.Label, strong(notice))
		put(1, minus(display.Cents(f.SeemsCents, max(f.SigmaCents, 0.5)))+" cents from it", on(text))
	} else {
		put(0, "far off: which string is it?", strong(notice))
		put(1, minus(display.Cents(f.Cents, max(f.SigmaCents, 5)))+" cents from the held string", on(text))
	}
	put(2, "held is string "+held+", "+f.Target.Label, on(text))
	hint := "y  it is string " + held
	switch {
	case seems >= 1 && seems <= 10:
		hint += "   " + strconv.Itoa(seems%10) + "  hold " + f.Seems.Label
	default:
		hint += "   a  let go"
	}
	put(4, hint, on(text))
}

// putFigure writes a figure. A value that does not fit loses its second half.
func (c *canvas) putFigure(x, y, end int, fig figure, st headStyles) {
	c.put(x, y, end, fig.label, st.label)
	x += 10
	if cellWidth(fig.value)+cellWidth(fig.more) <= end-x {
		fig.value += fig.more
	}
	c.put(x, y, end, fig.value, fig.st)
}

// putCaption writes the state in words and the deviation with its uncertainty, each whole or not
// at all.
func (c *canvas) putCaption(x, y, end int, f *display.Frame, s *scene, st headStyles) int {
	x = c.putWhole(x, y, end, stateWord(f, s), st.cents) + 2
	cents := minus(display.Cents(f.Cents, f.SigmaCents)) + " ± " + display.Sigma(f.SigmaCents)
	x = c.putWhole(x, y, end, cents, st.value)
	return c.putWhole(x, y, end, " cents", st.value) + 2
}

// stateWord is the verdict on a reading, or how old it is.
func stateWord(f *display.Frame, s *scene) string {
	switch {
	case !s.sounding():
		return lastSeen(f, s)
	case f.Standing == display.Confirmed:
		return f.Verdict + " (as you said)"
	case f.Now.Hz > 0:
		return f.Verdict + ", tune to now"
	}
	return f.Verdict
}

// lastSeen says that a reading is an old one, and how old.
func lastSeen(f *display.Frame, s *scene) string {
	when := age(s.now() - f.TimeS)
	if when == "now" {
		return "last, just now"
	}
	return "last, " + when + " ago"
}

// place says where on the instrument or in the tuning the target lies.
func place(f *display.Frame, s *scene) string {
	t := f.Target
	if t.String == 0 {
		return "step " + strconv.Itoa(t.Step)
	}
	at := "string " + strconv.Itoa(t.String)
	if t.Fret > 0 {
		at += " fret " + strconv.Itoa(t.Fret)
	}
	for i := range s.frame.Strings {
		if row := &s.frame.Strings[i]; row.Held && row.Number == t.String {
			at += " held"
		}
	}
	return at
}

// bigCents returns the deviation for block letters of a scale with as many of its decimals as
// fit into width cells, below 10 cents at least one; empty if not even those do.
func bigCents(f *display.Frame, width, scale int) string {
	fewest := 0
	if math.Abs(f.Cents) < 9.95 {
		fewest = 1
	}
	return shortCents(f.Cents, f.SigmaCents, fewest, 2, func(s string) bool {
		w, _ := bigWidth(s, scale)
		return w <= width
	})
}

// shortCents writes a deviation with the decimals that sigma allows, at most most, or with less
// down to fewest until it fits; empty if it never does.
func shortCents(cents, sigma float64, fewest, most int, fits func(string) bool) string {
	digits := display.Decimals(sigma, 1, most)
	for fewest = min(fewest, digits); digits >= fewest; digits-- {
		if s := minus(display.Cents(cents, math.Pow10(-digits))); fits(s) {
			return s
		}
	}
	return ""
}

// appendFigures appends the figures of a reading, the most useful first. What is not known, or
// says nothing new, is left out. The level is always that of now.
func appendFigures(dst []figure, f *display.Frame, s *scene, st headStyles) []figure {
	sigma := f.SigmaCents
	add := func(label, value, more string) { dst = append(dst, figure{label, value, more, st.value}) }
	if f.Now.Hz > 0 {
		add("now", display.Hz(f.Now.Hz, nowSigma)+" Hz", "")
		add("now at", minus(display.Cents(f.Now.Cents, nowSigma))+" cents", "")
	}
	add("target", display.Hz(f.Target.Hz, sigma)+" Hz", "")
	add("measured", display.Hz(f.F1Hz, sigma)+" Hz", "")
	add("beat", strings.TrimLeft(display.BeatHz(f.BeatHz, f.F1Hz, sigma), "+-")+" Hz", beatTime(f))
	add("level", levelText(s.frame.LevelDB), "")
	if differs(f.AttackF1Hz, f) {
		add("attack", roughHz(f.AttackF1Hz, f), offText(f.AttackF1Hz, f))
	}
	if differs(f.Partial1Hz, f) {
		add("partial 1", roughHz(f.Partial1Hz, f), offText(f.Partial1Hz, f))
	}
	if f.Inharmonicity > 0 {
		add("inharm. B", strconv.FormatFloat(f.Inharmonicity, 'g', 2, 64), "")
	}
	if f.SNRdB > 0 {
		add("snr", strconv.FormatFloat(f.SNRdB, 'f', 0, 64)+" dB", "")
	}
	return dst
}

// differs reports whether hz is known and off the reading by more than the doubt about it and
// than anyone would care for.
func differs(hz float64, f *display.Frame) bool {
	return hz > 0 && f.F1Hz > 0 && math.Abs(centsBetween(hz, f.F1Hz)) > max(0.1, 2*f.SigmaCents)
}

// roughHz writes a frequency that is known less well than the reading.
func roughHz(hz float64, f *display.Frame) string {
	return display.Hz(hz, max(f.SigmaCents, 0.2)) + " Hz"
}

// offText writes the distance of a frequency from the reading in cents.
func offText(hz float64, f *display.Frame) string {
	return " " + minus(display.Cents(centsBetween(hz, f.F1Hz), max(f.SigmaCents, 0.1))) + "¢"
}

// beatTime writes how long a slow beat lasts.
func beatTime(f *display.Frame) string {
	if rate := math.Abs(f.BeatHz); rate >= 0.01 && rate < 1 {
		return ", " + strconv.FormatFloat(1/rate, 'f', 0, 64) + " s"
	}
	return ""
}

// The level bar shows levelCells cells from levelFloorDB up to full scale.
const (
	levelCells   = 7
	levelFloorDB = -63.0
)

// levelText draws the level, dB re full scale, as a bar and a number.
func levelText(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "none"
	}
	part := min(max(1-db/levelFloorDB, 0), 1)
	full := int(math.Round(part * levelCells))
	return strings.Repeat("▪", full) + strings.Repeat("·", levelCells-full) + " " +
		minus(display.Fixed(db, 0)) + " dB"
}
