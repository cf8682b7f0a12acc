package bench

import (
	"fmt"
	"strings"

	"tunerd/internal/targets"
)

// A Catalog holds the instruments and tunings that a client may choose by name: the built-in ones
// and those that were added.
type Catalog struct {
	instruments []namedInstrument
	tunings     []namedTuning
}

type namedInstrument struct {
	name string
	*targets.Instrument
}

type namedTuning struct {
	spec, about string
	tuning      *targets.Tuning // nil: the spec says all
}

// examples are tunings of every kind, to choose from.
var examples = []namedTuning{
	{spec: "12edo", about: "twelve equal steps of the octave"},
	{spec: "19edo", about: "19 equal steps of the octave"},
	{spec: "22edo", about: "22 equal steps of the octave"},
	{spec: "31edo", about: "31 equal steps of the octave"},
	{spec: "41edo", about: "41 equal steps of the octave"},
	{spec: "53edo", about: "53 equal steps of the octave"},
	{spec: "13ed3", about: "13 equal steps of 3/1"},
	{spec: "4:5:6:7", about: "the notes of a chord of whole-number ratios"},
	{spec: "harmonics 8..16", about: "harmonics 8 to 16, repeating at the octave"},
	{spec: "1/1 9/8 5/4 4/3 3/2 5/3 15/8", about: "seven ratios, repeating at the octave"},
}

// NewCatalog returns the instruments and tunings that are built in.
func NewCatalog() *Catalog {
	c := &Catalog{tunings: examples}
	for _, in := range targets.Builtins() {
		c.instruments = append(c.instruments, namedInstrument{in.ID, in})
	}
	for _, name := range targets.Temperaments() {
		c.tunings = append(c.tunings, namedTuning{spec: name, about: targets.TemperamentAbout(name)})
	}
	return c
}

// AddInstrument adds an instrument that is not built in and returns the name under which it can be chosen: the given
// one, or one like it where that is taken.
func (c *Catalog) AddInstrument(name string, in *targets.Instrument) string {
	for c.instrument(name) != nil {
		name += "-file"
	}
	c.instruments = append(c.instruments, namedInstrument{name, in})
	return name
}

// AddTuning adds a tuning that no spec stands for and returns the name under which it can be chosen.
func (c *Catalog) AddTuning(name string, t *targets.Tuning) string {
	name = "file " + name
	c.tunings = append(c.tunings, namedTuning{spec: name, about: t.Name(), tuning: t})
	return name
}

// Instrument returns the instrument of that name.
func (c *Catalog) Instrument(name string) (*targets.Instrument, error) {
	if in := c.instrument(name); in != nil {
		return in, nil
	}
	names := make([]string, len(c.instruments))
	for i, in := range c.instruments {
		names[i] = in.name
	}
	return nil, fmt.Errorf("no instrument %.40q; it is one of %s", name, strings.Join(names, ", "))
}

func (c *Catalog) instrument(name string) *targets.Instrument {
	for _, in := range c.instruments {
		if in.name == name {
			return in.Instrument
		}
	}
	return nil
}

// Tuning returns the tuning of a spec, or of a name that AddTuning has returned, anchored by
// reference unless that is empty.
func (c *Catalog) Tuning(spec, reference string) (*targets.Tuning, error) {
	t, err := c.tuning(spec)
	if err != nil || reference == "" {
		return t, err
	}
	r, err := targets.ParseReference(reference)
	if err != nil {
		return nil, err
	}
	return t.WithReference(r)
}

func (c *Catalog) tuning(spec string) (*targets.Tuning, error) {
	for _, n := range c.tunings {
		if n.tuning != nil && n.spec == spec {
			return n.tuning, nil
		}
	}
	return targets.ParseTuningText(spec)
}

// Tuned returns an instrument in a tuning and at a reference; empty is its own.
func (c *Catalog) Tuned(name, tuning, reference string) (*targets.Instrument, error) {
	in, err := c.Instrument(name)
	if err != nil {
		return nil, err
	}
	var t *targets.Tuning
	if tuning != "" {
		if t, err = c.tuning(tuning); err != nil {
			return nil, err
		}
	}
	var ref *targets.Reference
	if reference != "" {
		r, err := targets.ParseReference(reference)
		if err != nil {
			return nil, err
		}
		ref = &r
	}
	return in.With(t, ref)
}
