package command

import (
	"strings"

	"github.com/spf13/pflag"

	"tunerd/internal/engine"
	"tunerd/internal/targets"
)

// allStringsOptions say whether all strings are read at once, and which.
type allStringsOptions struct {
	on    bool
	notes string
}

func (o *allStringsOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.on, "all-strings", false, "let all strings of the --instrument sound together, and read each\nagainst its own target")
	fs.StringVar(&o.notes, "notes", "", "--all-strings without an instrument: the `NOTES` of the chord, such as\n\"E2 A2 D3\", \"110Hz 137.5Hz 165Hz\" or, with an instrument, \"6f3 5f2 4\"")
}

// use makes the plan one for all strings, if that is wanted.
func (o *allStringsOptions) use(t *tuningOptions, p *plan) error {
	if o.notes != "" {
		o.on = true
		if err := p.useNotes(o.notes); err != nil {
			return usageError{err}
		}
	}
	switch {
	case !o.on:
		return nil
	case p.config.Instrument == nil:
		return hintf(usagef("--all-strings needs to know the strings; name them with --instrument, --plan or --notes"),
			`"tunerd instrument list" lists the built-in instruments`)
	case t.frets:
		return usagef("--all-strings reads open strings; for fretted notes give them as --notes, such as \"6f3 5f2\"")
	case t.held != 0:
		return usagef("--all-strings and --string exclude each other")
	}
	p.config.String = 0
	// What is wrong with the strings is told before any input is opened.
	resolver, err := p.resolver()
	if err != nil {
		return err
	}
	if _, err := p.chords()(usualRate, resolver.Strings(), nil); err != nil {
		return usageError{err}
	}
	return nil
}

// useNotes makes the notes of a list the strings, separated by commas or else by blanks.
func (p *plan) useNotes(list string) error {
	words := strings.Fields(list)
	if strings.Contains(list, ",") {
		words = strings.Split(list, ",")
	}
	reader := &noteReader{plan: p}
	var chord []targets.Target
	for _, word := range words {
		n, err := reader.note(word)
		if err != nil {
			return err
		}
		chord = append(chord, targets.Target{Label: n.Label, Hz: n.Hz, Step: p.tuning.Nearest(n.Hz)})
	}
	in, err := targets.OfNotes("notes "+strings.Join(words, " "), p.tuning, chord)
	if err != nil {
		return err
	}
	p.config.Instrument, p.config.Tuning, p.config.Reference = in, nil, nil
	p.labels.Instrument = in.Name
	return nil
}

// chords returns what makes readers of all strings.
func (p *plan) chords() engine.NewChords { return engine.OpenStrings(p.config.Instrument) }
