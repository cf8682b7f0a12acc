package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// ErrDamaged says that a store does not give back what was written into it.
var ErrDamaged = errors.New("the file is damaged")

// ErrLost says that what a store held is no longer there.
var ErrLost = errors.New("it was deleted or replaced")

// A Damage is what a store has lost. The zero Damage is none.
type Damage struct {
	Store    string // what the store says of itself; empty: nothing
	Sessions []Loss // in the order of their numbers
}

// A Loss is what is missing of one session.
type Loss struct {
	ID          int64
	Missing, Of int // readings
}

// Found reports whether there is damage.
func (d *Damage) Found() bool { return d.Store != "" || len(d.Sessions) > 0 }

// mostNamed is how many sessions a sentence names one by one.
const mostNamed = 5

// Err is nil without damage, or says what is missing; it is ErrDamaged.
func (d *Damage) Err() error {
	if !d.Found() {
		return nil
	}
	var words []string
	missing := 0
	for i, s := range d.Sessions {
		missing += s.Missing
		if i < mostNamed {
			words = append(words, fmt.Sprintf("session %d: %d of %d", s.ID, s.Missing, s.Of))
		}
	}
	if n := len(d.Sessions) - mostNamed; n > 0 {
		words = append(words, fmt.Sprintf("%d more sessions", n))
	}
	said := ""
	if missing > 0 {
		said = fmt.Sprintf(": %d readings are missing (%s)", missing, strings.Join(words, "; "))
	} else if d.Store != "" {
		said = ": " + d.Store
	}
	return fmt.Errorf("%w%s", ErrDamaged, said)
}

// Check looks for damage in the sessions of f, and in the whole journal if f is the zero Filter.
func (j *Journal) Check(ctx context.Context, f Filter) (Damage, error) {
	d, err := j.store.Check(ctx, f)
	return d, stored(err)
}
