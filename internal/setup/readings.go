package setup

import (
	"fmt"
	"math"
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

// Suspicion beyond which a fret is to be heard on more strings, in standard errors.
const (
	suspicious = 2.5
	confirmOn  = 2 // strings more
)

// Confirm looks at what has been found when the plan is through, and asks for more where a fret
// that was heard on one string only seems to be off: on other strings, to tell the fret from the
// playing. It does so once, and returns how many notes it added.
func (c *Check) Confirm() int {
	if c.Confirmed || c.At < len(c.Entries) {
		return 0
	}
	c.Confirmed = true
	r, err := c.Fit()
	if err != nil {
		return 0
	}
	before := len(c.Entries)
	for _, f := range r.Frets {
		if len(f.Strings) == 1 && (f.Off || math.Abs(f.MM) > suspicious*math.Hypot(f.Sigma, c.Settings.Model.SlotMM)) {
			c.hearElsewhere(f)
		}
	}
	return len(c.Entries) - before
}

func (c *Check) hearElsewhere(f FretResult) {
	slots := c.Board.slots()
	i, _ := c.Board.at(f.Strings[0])
	slot := slots.of[i][f.Fret-1]
	added := 0
	for k, s := range c.Board.Strings {
		if k == i || len(s.Frets) < f.Fret || slots.of[k][f.Fret-1] != slot || added == confirmOn {
			continue
		}
		if _, ok := c.openCents(s.Number); !ok {
			continue
		}
		n := Note{String: s.Number, Fret: f.Fret}
		c.Entries = append(c.Entries, Entry{Step: Step{n, fmt.Sprintf("fret %d seems off on string %d: is it the fret?", f.Fret, f.Strings[0])}})
		added++
	}
}
