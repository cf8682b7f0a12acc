package setup

import (
	"fmt"
	"math"
	"slices"
)

// priorPlucks is how many plucks the prior of the repeatability counts for.
const priorPlucks = 4

// repeatability returns the standard deviation between plucks of the same note, pooled over all
// notes and with the model's as a prior, what the readings' own uncertainty explains taken away.
func (c *Check) repeatability() float64 {
	prior := c.Settings.Model.RepeatCents
	sum, free := priorPlucks*prior*prior, float64(priorPlucks)
	for i := range c.Entries {
		e := &c.Entries[i]
		kept := sound(e.Plucks)
		if len(kept) < 2 {
			continue
		}
		_, sd := moments(c.centsOf(e))
		noise := 0.0
		for _, p := range kept {
			noise += p.SigmaCents * p.SigmaCents / float64(len(kept))
		}
		n := float64(len(kept) - 1)
		sum += n * (sd*sd - noise)
		free += n
	}
	const least = 0.02 // cents
	return math.Sqrt(max(sum/free, least*least))
}

// readings returns what the plucks of every entry come to: their mean, each weighted by its own
// uncertainty and the repeatability.
func (c *Check) readings() []Reading {
	repeat := c.repeatability()
	var all []Reading
	for i := range c.Entries {
		if e := &c.Entries[i]; len(e.Plucks) > 0 && e.State != Skipped {
			all = append(all, c.reading(e, repeat))
		}
	}
	return all
}

func (c *Check) reading(e *Entry, repeat float64) Reading {
	r := Reading{Note: e.Note}
	ratio := c.Board.ratio(e.Note)
	var sum, weight, sumB, weightB float64
	for _, p := range sound(e.Plucks) {
		w := 1 / (p.SigmaCents*p.SigmaCents + repeat*repeat)
		sum, weight = sum+w*Cents(p.F1Hz, c.Board.Hz(e.Note)), weight+w
		r.Plucks++
		if p.BSigma > 0 {
			// B of a string of 1/ratio the length is ratio² times as large.
			w := 1 / (p.BSigma * p.BSigma)
			sumB, weightB = sumB+w*p.B/(ratio*ratio), weightB+w
		}
	}
	r.Cents = sum / weight
	r.Sigma = math.Hypot(math.Sqrt(1/weight), c.Settings.Model.NoteCents)
	if weightB > 0 {
		r.B, r.BSigma = sumB/weightB, 1/math.Sqrt(weightB)/(ratio*ratio)
	}
	return r
}

// Fit returns what has been found so far.
func (c *Check) Fit() (*Result, error) {
	all := c.readings()
	if err := enough(&c.Board, all); err != nil {
		return nil, err
	}
	f, err := fitAll(&c.Board, all, c.Settings.Model)
	if err != nil {
		return nil, err
	}
	r := f.result()
	r.Repeat = c.repeatability()
	return r, nil
}

// Progress returns how many notes are through, and of how many.
func (c *Check) Progress() (done, of int) {
	for _, e := range c.Entries {
		if e.State != Waiting {
			done++
		}
	}
	return done, len(c.Entries)
}

// A Slip is a string whose open note moved during the check.
type Slip struct {
	Number int     `json:"string"`
	Cents  float64 `json:"cents"` // last minus first
	Sigma  float64 `json:"sigma_cents"`
}

// Slips returns the strings whose first and last open notes differ by more than 3 standard errors.
func (c *Check) Slips() []Slip {
	repeat := c.repeatability()
	var slips []Slip
	for _, s := range c.Board.Strings {
		var open []Reading
		for i := range c.Entries {
			if e := &c.Entries[i]; e.String == s.Number && e.Open() && len(e.Plucks) > 0 {
				open = append(open, c.reading(e, repeat))
			}
		}
		if len(open) < 2 {
			continue
		}
		first, last := open[0], open[len(open)-1]
		slip := Slip{s.Number, last.Cents - first.Cents, math.Hypot(first.Sigma, last.Sigma)}
		if math.Abs(slip.Cents) > 3*slip.Sigma {
			slips = append(slips, slip)
		}
	}
	return slips
}

// When more is to be heard of a fret, and how much.
const (
	offMM        = 0.4 // mm: a fret so far off its place is to be found
	surely       = 2.0 // standard errors by which it must differ from that to be let go: 1 of 44 so far off is
	suspicious   = 1.8 // standard errors from its place
	beyondDoubt  = 5.0 // standard errors from its place
	confirmOn    = 6   // notes at a fret that is suspicious
	resolveOn    = 2   // notes at one that was only not heard well enough
	mostHeard    = 12  // notes at one fret, beyond which more tell nothing: what is not known then is what pressing does there
	mostConfirms = 5   // how often more is asked for
)

// LowRatio is that of the frets below which the height of the nut does much the same as a fret off its
// place: notes above tell the two apart.
const LowRatio = 1.16

// Confirm looks at what has been found when the plan is through, and asks for more where a fret
// that was heard is neither sure to be off nor sure not to be off by so much that it should be found,
// or is off by one string only: on other strings, to tell the fret from the playing and from the
// height of the nut, and where all have it again. Frets near the nut and on boards with many frets
// need that most, as each is heard on one string and its note is moved least. It returns how many
// notes it added; when those are through it looks again, a few times.
func (c *Check) Confirm() int {
	if c.Confirmed || c.At < len(c.Entries) {
		return 0
	}
	c.Confirms++
	c.Confirmed = c.Confirms >= mostConfirms
	r, err := c.Fit()
	if err != nil {
		c.Confirmed = true
		return 0
	}
	before := len(c.Entries)
	for _, f := range r.Frets {
		sigma := math.Hypot(f.Sigma, c.Settings.Model.SlotMM)
		out := math.Abs(f.MM) / sigma
		if out >= beyondDoubt && len(f.Strings) > 1 || math.Abs(f.MM)+surely*sigma < offMM && !f.Off {
			continue
		}
		more := resolveOn
		if out > suspicious {
			more = confirmOn
		}
		if more = min(more, mostHeard-c.heard(f)); more > 0 {
			c.hearMore(f, more, out > suspicious)
		}
	}
	c.Confirmed = c.Confirmed || len(c.Entries) == before
	return len(c.Entries) - before
}

// heard returns how many notes were asked for at a fret, on the strings that have it.
func (c *Check) heard(f FretResult) (n int) {
	slots := c.Board.slots()
	i, _ := c.Board.at(f.Strings[0])
	slot := slots.of[i][f.Fret-1]
	for _, e := range c.Entries {
		if k, ok := c.Board.at(e.String); ok && e.Fret == f.Fret && slots.of[k][f.Fret-1] == slot {
			n++
		}
	}
	return n
}

// hearMore asks for so many notes more at a fret, and if it is a low one that seems off, for a note
// above on every string that it was heard on.
func (c *Check) hearMore(f FretResult, notes int, off bool) {
	i, _ := c.Board.at(f.Strings[0])
	slots := c.Board.slots()
	slot := slots.of[i][f.Fret-1]
	why := fmt.Sprintf("fret %d may be off by %g mm for all that is known of it from %s", f.Fret, offMM, stringsText(f.Strings))
	if off {
		why = fmt.Sprintf("fret %d seems off on %s: is it the fret?", f.Fret, stringsText(f.Strings))
	}
	var elsewhere []int
	for k, s := range c.Board.Strings {
		_, open := c.openCents(s.Number)
		if open && len(s.Frets) >= f.Fret && slots.of[k][f.Fret-1] == slot && !slices.Contains(f.Strings, s.Number) {
			elsewhere = append(elsewhere, s.Number)
		}
	}
	on := append(elsewhere, f.Strings...)
	for _, number := range on[:min(notes, len(on))] {
		c.Entries = append(c.Entries, Entry{Step: Step{Note{String: number, Fret: f.Fret}, why}})
	}
	if !off || c.Board.Strings[i].Frets[f.Fret-1].Ratio() > LowRatio {
		return
	}
	for _, number := range f.Strings {
		if n, ok := c.above(Note{String: number, Fret: f.Fret}); ok {
			c.Entries = append(c.Entries, Entry{Step: Step{n, why + " Or is the nut high?"}})
		}
	}
}

// above returns the note on the same string nearest to twice as far from the nut that has not been
// asked for.
func (c *Check) above(n Note) (Note, bool) {
	i, _ := c.Board.at(n.String)
	s := &c.Board.Strings[i]
	best, off := Note{}, math.Inf(1)
	for k := n.Fret; k < len(s.Frets) && s.Frets[k].Ratio() < highest; k++ {
		other := Note{String: n.String, Fret: k + 1}
		asked := slices.ContainsFunc(c.Entries, func(e Entry) bool { return e.Note == other })
		if d := math.Abs(s.placeOf(k) - 2*s.placeOf(n.Fret-1)); !asked && d < off {
			best, off = other, d
		}
	}
	return best, !math.IsInf(off, 1)
}

// stringsText names strings: "string 2", "strings 2, 3".
func stringsText(numbers []int) string {
	text := "string"
	if len(numbers) > 1 {
		text = "strings"
	}
	for k, n := range numbers {
		if k > 0 {
			text += ","
		}
		text += fmt.Sprintf(" %d", n)
	}
	return text
}
