package tension

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"tunerd/internal/targets"
)

// Advice stands wherever string tension is shown.
const Advice = "Caution: tension is computed from nominal figures. Wear eye protection, slacken first if unsure, " +
	"and keep to the limits of neck and bridge that the maker gives; the maker's and a licensed " +
	"technician's word stands above these figures."

// raisedCents is the least rise that is one.
const raisedCents = 0.005

// A Change is what a string bears at its target, and what it bore before.
type Change struct {
	String          int // from 1
	Label           string
	Own, Now, After Load    // at its own pitch by the instrument's file, as it is, and at its target
	AboveOwn        float64 // cents of the target above its own pitch
	Cents           float64 // and above the pitch that it has now
}

// Changes returns what the open strings of an instrument bear at the pitches that it has them tuned to.
// nowHz is what they are tuned to so far; a string without one, or nil, has its own pitch, as the
// instrument's file has it.
func Changes(in *targets.Instrument, nowHz []float64) []Change {
	all := make([]Change, len(in.Strings))
	for i, own := range in.OwnHz() {
		s, now := &in.Strings[i], own
		if nowHz != nil && nowHz[i] > 0 {
			now = nowHz[i]
		}
		after := s.Open.Hz
		all[i] = Change{
			String: i + 1, Label: s.Open.Label, Own: Of(s, own), Now: Of(s, now), After: Of(s, after),
			AboveOwn: 1200 * math.Log2(after/own), Cents: 1200 * math.Log2(after/now),
		}
	}
	return all
}

// Raises says whether the target is above the string's own pitch, or above the one that it has.
func (c Change) Raises() bool { return max(c.AboveOwn, c.Cents) >= raisedCents }

// Beyond says whether the string would bear more than Limit, by more than rounding.
func (c Change) Beyond() bool { return c.After.Beyond() }

// Beyond says whether the string bears more than Limit, by more than rounding.
func (l Load) Beyond() bool { return l.Part() > Limit*(1+1e-9) }

// Cautions says what is to be known before anybody turns a peg, each a paragraph: which strings are
// raised or beyond Limit, what each of them bears, where the limits are from, what all strings together
// do, and Advice. The first paragraph can stand alone where there is no room for more. It is empty if
// no string is raised and none is beyond.
func Cautions(changes []Change) []string {
	told := slices.DeleteFunc(slices.Clone(changes), func(c Change) bool { return !c.Raises() && !c.Beyond() })
	if len(told) == 0 {
		return nil
	}
	lines := []string{summary(told)}
	for _, c := range told {
		lines = append(lines, c.words())
	}
	if sources := limitSources(told); sources != "" {
		lines = append(lines, "breaking limits: "+sources)
	}
	if before, after := total(changes); !math.IsNaN(after) && len(changes) > 1 {
		lines = append(lines, fmt.Sprintf("all strings together: %.1f N, before %.1f N", after, before))
	}
	return append(lines, Advice)
}

// Brief is the first paragraph of Cautions, and what the string bears that is nearest to breaking; in one
// line. Empty if Cautions is.
func Brief(changes []Change) string {
	text := Short(changes)
	if text == "" {
		return ""
	}
	var worst *Change
	for i := range changes {
		c := &changes[i]
		if !c.Raises() && !c.Beyond() {
			continue
		}
		if worst == nil || !(c.After.Part() <= worst.After.Part()) && !math.IsNaN(c.After.Part()) {
			worst = c
		}
	}
	return text + "; " + worst.words()
}

// Short is the first paragraph of Cautions.
func Short(changes []Change) string {
	if lines := Cautions(changes); len(lines) > 0 {
		return lines[0]
	}
	return ""
}

// summary says which strings there are something to say of.
func summary(told []Change) string {
	var raised, beyond []int
	for _, c := range told {
		if c.Beyond() {
			beyond = append(beyond, c.String)
		} else {
			raised = append(raised, c.String)
		}
	}
	var parts []string
	if len(beyond) > 0 {
		parts = append(parts, fmt.Sprintf("puts %s beyond %.0f%% of the breaking limit", StringList(beyond), 100*Limit))
	}
	if len(raised) > 0 {
		parts = append(parts, "raises "+StringList(raised))
	}
	return "caution: " + strings.Join(parts, ", ") + "; wear eye protection, slacken first if unsure"
}

// StringList names strings by their numbers, runs of them by their ends.
func StringList(numbers []int) string {
	var runs []string
	for from := 0; from < len(numbers); {
		to := from
		for to+1 < len(numbers) && numbers[to+1] == numbers[to]+1 {
			to++
		}
		run := strconv.Itoa(numbers[from])
		switch {
		case to > from+1:
			run += " to " + strconv.Itoa(numbers[to])
		case to > from:
			run += ", " + strconv.Itoa(numbers[to])
		}
		runs = append(runs, run)
		from = to + 1
	}
	if len(numbers) == 1 {
		return "string " + runs[0]
	}
	return "strings " + strings.Join(runs, ", ")
}

// words says what one string does. Its own pitch is what the target is compared with, unless the string
// has another now that the target is above.
func (c Change) words() string {
	text := fmt.Sprintf("string %d (%s) ", c.String, c.Label)
	before := c.Own
	switch {
	case c.Cents >= raisedCents:
		before = c.Now
		text += fmt.Sprintf("rises by %.2f cents", c.Cents)
		if c.AboveOwn >= raisedCents && math.Abs(c.AboveOwn-c.Cents) >= raisedCents {
			text += fmt.Sprintf(", to %.2f above its own pitch", c.AboveOwn)
		}
	case c.AboveOwn >= raisedCents:
		text += fmt.Sprintf("is tuned %.2f cents above its own pitch", c.AboveOwn)
	default:
		return text + "is not raised: " + c.After.words()
	}
	return text + ": " + c.After.words() + " (before: " + before.short() + ")"
}

// words says what a load is, or why that is not known.
func (l Load) words() string {
	text := l.short()
	if l.Missing == "" {
		text += " of its breaking limit"
	}
	if l.TensionN > HeavyN {
		text += fmt.Sprintf(", above the %d N that necks and hands are made for", HeavyN)
	}
	if l.Missing != "" {
		text += ", as " + l.Missing
	}
	return text
}

// short writes tension and part of the limit.
func (l Load) short() string {
	newtons, part := "tension not known", "part of its breaking limit not known"
	if !math.IsNaN(l.TensionN) {
		newtons = fmt.Sprintf("%.1f N", l.TensionN)
	}
	if l.Missing == "" {
		part = l.PartWords()
	}
	return newtons + ", " + part
}

// PartWords writes Part for people.
func (l Load) PartWords() string {
	words := fmt.Sprintf("%.1f%%", 100*l.Part())
	if l.AtMost {
		return "at least " + words
	}
	return words
}

// limitSources names where the limits of strings are from, each once.
func limitSources(changes []Change) string {
	var all []string
	for _, c := range changes {
		if c.After.Source != "" && !slices.Contains(all, c.After.Source) {
			all = append(all, c.After.Source)
		}
	}
	return strings.Join(all, "; ")
}

// total is NaN if the tension of any string is not known.
func total(changes []Change) (before, after float64) {
	for _, c := range changes {
		before += c.Now.TensionN
		after += c.After.TensionN
	}
	return before, after
}
