package tension

import (
	"fmt"
	"math"
	"strings"
)

// mostNamed is how many strings a refusal speaks of.
const mostNamed = 3

// A Risk refuses targets that put strings beyond Limit. The user may accept it, in words.
type Risk struct {
	Beyond []Change // one at least
}

// Refuse returns a *Risk if a change puts a string beyond Limit, and otherwise nil.
func Refuse(changes []Change) error {
	var r Risk
	for _, c := range changes {
		if c.Beyond() {
			r.Beyond = append(r.Beyond, c)
		}
	}
	if len(r.Beyond) == 0 {
		return nil
	}
	return &r
}

// Error names the strings and what they would bear.
func (r *Risk) Error() string {
	var parts []string
	for _, c := range r.Beyond[:min(mostNamed, len(r.Beyond))] {
		parts = append(parts, fmt.Sprintf("string %d (%s) would bear %s of its breaking limit", c.String, c.Label, c.After.PartWords()))
	}
	if more := len(r.Beyond) - mostNamed; more > 0 {
		parts = append(parts, fmt.Sprintf("%d more are beyond it", more))
	}
	return strings.Join(parts, ", ") + fmt.Sprintf("; targets go up to %.0f%%", 100*Limit)
}

// Raised says whether it is the change that puts a string beyond Limit, and not the pitch that it has
// already.
func (r *Risk) Raised() bool {
	for _, c := range r.Beyond {
		if !c.Now.Beyond() {
			return true
		}
	}
	return false
}

// Highest returns of several sets of changes, each of all strings of one instrument, for every string
// the one that tunes it highest.
func Highest(sets [][]Change) []Change {
	var all []Change
	for i, set := range sets {
		if i == 0 {
			all = append(all, set...)
			continue
		}
		for k, c := range set {
			if c.AboveOwn > all[k].AboveOwn {
				all[k] = c
			}
		}
	}
	return all
}

// MostPart returns the largest known part of a breaking limit after changes; NaN if none is known.
func MostPart(changes []Change) float64 {
	most := nan
	for _, c := range changes {
		if part := c.After.Part(); !(part <= most) && !math.IsNaN(part) {
			most = part
		}
	}
	return most
}
