package fretboard

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// minFretMM is the least distance of two frets. Common practice, no source: the crown of a wire is
// 2 to 3 mm wide, and a fingertip needs the rest.
const minFretMM = 4

// duplicateMM is how near two frets of a string must be to be one.
const duplicateMM = 0.05

// offNoteCents is how far a pitch may be from a note of the tuning and still be that note.
const offNoteCents = 0.01

// A Finding is one thing that Check has to say.
type Finding struct {
	Kind   string // "tension", "narrow fret", "duplicate fret", "off the tuning", "scale length", "bent slot", "repeat"
	Fault  bool   // something is wrong; false: something is worth knowing, or not known
	String int    // 0: all strings
	Fret   int    // 0: the whole string
	Text   string
}

// narrowFret is a kind of finding.
const narrowFret = "narrow fret"

// Level is fault or note.
func (f Finding) Level() string {
	if f.Fault {
		return "fault"
	}
	return "note"
}

// Words says what was found, without the string.
func (f Finding) Words() string {
	where := ""
	if f.Fret > 0 {
		where = fmt.Sprintf("fret %d: ", f.Fret)
	}
	return f.Level() + ": " + where + f.Kind + ": " + f.Text
}

// mostBendMM is how far a slot may depart from a straight line: as much as a slot is told by for its
// effect on the note. A saw cuts straight.
const mostBendMM = slotErrorMM

// Check looks for strings out of playable range, frets too near to one another, frets that are
// there twice and pitches that are no notes of the tuning, string by string; then for slots that no
// saw can cut, and for a list of notes that goes beyond where it repeats.
func Check(in *targets.Instrument) []Finding {
	var all []Finding
	changes := tension.Changes(in, nil)
	for i := range in.Strings {
		c := checker{in: in, s: &in.Strings[i], n: i + 1}
		c.load(&changes[i])
		c.frets()
		c.notes()
		all = append(all, c.found...)
	}
	all = append(all, bentSlots(in)...)
	if words := in.Tuning.RepeatWords(); words != "" {
		all = append(all, Finding{Kind: "repeat", Text: words})
	}
	return all
}

// bentSlots tells of slots of a fan that bend, the worst of them, and of scale lengths under which
// they would not: those that change evenly from string to string.
func bentSlots(in *targets.Instrument) []Finding {
	b, err := New(in, Options{})
	if err != nil {
		return nil // strings without a scale length are told of
	}
	count, worst := 0, Line{}
	most := mostBendMM
	for _, l := range b.Lines() {
		if bend := l.Bend(); bend > mostBendMM {
			count++
			if bend >= most {
				most, worst = bend, l
			}
		}
	}
	if count == 0 {
		return nil
	}
	first, last := worst.Strings[0], worst.Strings[1]
	even := make([]string, last-first+1)
	for i := range even {
		part := float64(i) / float64(len(even)-1)
		even[i] = strconv.FormatFloat(b.Strings[first-1].ScaleMM*(1-part)+b.Strings[last-1].ScaleMM*part, 'f', 1, 64)
	}
	return []Finding{{"bent slot", true, 0, worst.Fret, fmt.Sprintf(
		"%d slots bend by more than %g mm, this one by %.2f mm from the straight line between strings %d and %d: no saw cuts it; scale lengths that change evenly are straight: %s mm",
		count, mostBendMM, most, first, last, strings.Join(even, ", "))}}
}

type checker struct {
	in    *targets.Instrument
	s     *targets.InstrumentString
	n     int // number of the string
	found []Finding
}

func (c *checker) add(kind string, fault bool, fret int, format string, args ...any) {
	c.found = append(c.found, Finding{kind, fault, c.n, fret, fmt.Sprintf(format, args...)})
}

func (c *checker) load(change *tension.Change) {
	if c.s.ScaleLengthMM == 0 {
		c.add("scale length", false, 0, "not given: tension and fret places are not known")
		return
	}
	l := change.After
	switch {
	case l.Beyond():
		c.add("tension", true, 0, "%.1f Hz over %g mm stresses it to %.0f MPa, %s of the %.0f MPa at which it breaks (%s); strings are tuned up to %.0f%%",
			c.s.Open.Hz, c.s.ScaleLengthMM, l.StressMPa, l.PartWords(), l.LimitMPa, l.Source, 100*tension.Limit)
	case change.Raises():
		c.add("tension", false, 0, "tuned %.2f cents above its own pitch", change.AboveOwn)
	}
	if !math.IsNaN(l.TensionN) && l.Missing != "" {
		c.add("tension", false, 0, "how near it is to breaking is not known: %s", l.Missing)
	}
	switch {
	case math.IsNaN(l.TensionN) && l.Missing != "":
		c.add("tension", false, 0, "not known: give linear_density_kg_m, or gauge_mm and the material of a plain string")
	case l.TensionN < tension.SlackN:
		c.add("tension", true, 0, "%.1f N is slack; below %d N a string does not hold its pitch", l.TensionN, tension.SlackN)
	case l.TensionN > tension.HeavyN:
		c.add("tension", true, 0, "%.0f N is above %d N, more than necks and hands are made for", l.TensionN, tension.HeavyN)
	}
}

func (c *checker) frets() {
	if c.s.ScaleLengthMM == 0 {
		return
	}
	previous := 0.0
	for i, f := range c.s.Frets {
		x := Position(c.s.ScaleLengthMM, f.Cents)
		switch gap := x - previous; {
		case gap < duplicateMM:
			c.add("duplicate fret", true, i+1, "lies in the same place as %s", fretName(i))
		case gap < minFretMM:
			c.add(narrowFret, true, i+1, "%.2f mm from %s, less than %d mm", gap, fretName(i), minFretMM)
		}
		previous = x
	}
}

func fretName(fret int) string {
	if fret == 0 {
		return "the nut"
	}
	return fmt.Sprintf("fret %d", fret)
}

// notes compares what the string sounds with the tuning. Of many frets off it tells the worst. Whoever
// writes a ratio for the string, or cents, and ratios for its frets means these, not notes of the
// tuning: that is worth knowing and no fault.
func (c *checker) notes() {
	meant := c.s.OpenBetween()
	if label, off := c.offNote(c.s.Open); math.Abs(off) > offNoteCents {
		c.add("off the tuning", !meant, 0, "open %.4g Hz is %+.2f cents from %s, the nearest note of %s", c.s.Open.Hz, off, label, c.in.Tuning)
	}
	count, worst, worstOff, worstLabel := 0, 0, 0.0, ""
	for fret := 1; fret <= len(c.s.Frets); fret++ {
		f, err := c.in.Fretted(c.n, fret)
		if err != nil {
			continue // string and fret are there
		}
		if f.Hz > targets.MaxNoteHz {
			c.add("off the tuning", true, fret, "%.0f Hz is above %.0f Hz, the highest note", f.Hz, targets.MaxNoteHz)
			break
		}
		label, off := c.offNote(f)
		if math.Abs(off) <= offNoteCents {
			continue
		}
		count++
		if math.Abs(off) > math.Abs(worstOff) {
			worst, worstOff, worstLabel = fret, off, label
		}
	}
	if count > 0 {
		c.add("off the tuning", !(meant && c.s.FretsByRatio()), worst, "%d of %d frets are no notes of %s; this one is the farthest off, %+.2f cents from %s",
			count, len(c.s.Frets), c.in.Tuning, worstOff, worstLabel)
	}
}

// offNote returns the nearest note of the tuning, and how far a pitch is from it in cents.
func (c *checker) offNote(t targets.Target) (label string, off float64) {
	note := c.in.Tuning.Note(c.in.Tuning.Nearest(t.Hz))
	return note.Label, 1200 * math.Log2(t.Hz/note.Hz)
}
