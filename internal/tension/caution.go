package tension

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Advice stands wherever string tension is shown.
const Advice = `Caution: tension is computed from nominal figures. Wear eye protection, slacken first if unsure,
and keep to the limits of neck and bridge that the maker gives; the maker's and a licensed
technician's word stands above these figures.`

// raisedCents is the least rise that is one.
const raisedCents = 0.005

// A Change is what a string bears now and after it is retuned.
type Change struct {
	String     int // from 1
	Label      string
	Cents      float64 // from now to after; positive is a rise
	Now, After Load
}

// Raises says whether the string is raised.
func (c Change) Raises() bool { return c.Cents >= raisedCents }

// Beyond says whether the change raises the string above a part of its breaking limit, by more than
// rounding.
func (c Change) Beyond(part float64) bool { return c.Raises() && c.After.Part() > part*(1+1e-9) }

// Cautions tells for each string that is raised what it bears now and after, then what all
// strings together do, and Advice, which has line breaks. It is empty if no string is raised.
func Cautions(changes []Change) []string {
	var lines []string
	for _, c := range changes {
		if c.Raises() {
			lines = append(lines, c.words())
		}
	}
	if len(lines) == 0 {
		return nil
	}
	if sources := limitSources(changes); sources != "" {
		lines = append(lines, "breaking limits: "+sources)
	}
	if now, after := total(changes); !math.IsNaN(after) && len(changes) > 1 {
		lines = append(lines, fmt.Sprintf("all strings together pull with %.1f N now, %.1f N after", now, after))
	}
	return append(lines, Advice)
}

func (c Change) words() string {
	text := fmt.Sprintf("string %d (%s) rises by %.2f cents: ", c.String, c.Label, c.Cents)
	if math.IsNaN(c.After.TensionN) {
		text += "its tension is not known"
	} else {
		text += fmt.Sprintf("%.1f N now, %.1f N after", c.Now.TensionN, c.After.TensionN)
	}
	if math.IsNaN(c.After.Part()) {
		return text + "; what part of its breaking limit that is, is not known"
	}
	return text + fmt.Sprintf("; %.1f%% of its breaking limit now, %.1f%% after", 100*c.Now.Part(), 100*c.After.Part())
}

// limitSources names where the limits of the raised strings are from, each once.
func limitSources(changes []Change) string {
	var all []string
	for _, c := range changes {
		if c.Raises() && c.After.Source != "" && !slices.Contains(all, c.After.Source) {
			all = append(all, c.After.Source)
		}
	}
	return strings.Join(all, "; ")
}

// Short is Cautions for a line on a screen; empty if no string is raised.
func Short(changes []Change) string {
	var raised []string
	for _, c := range changes {
		if c.Raises() {
			raised = append(raised, strconv.Itoa(c.String))
		}
	}
	if len(raised) == 0 {
		return ""
	}
	return "caution: raises string " + strings.Join(raised, ", ") + "; wear eye protection, slacken first if unsure"
}

// total is NaN if the tension of any string is not known.
func total(changes []Change) (now, after float64) {
	for _, c := range changes {
		now += c.Now.TensionN
		after += c.After.TensionN
	}
	return now, after
}
