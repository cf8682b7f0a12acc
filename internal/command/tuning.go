package command

import (
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"tunerd/internal/detune"
	"tunerd/internal/engine"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// defaultTuning is that of a tuner that is told nothing.
const defaultTuning = "12edo"

// tuningOptions say what should sound.
type tuningOptions struct {
	tuning     string
	instrument string
	reference  string
	held       int
	frets      bool
	courses    bool
	tolerance  float64
	planFile   string // of addPlanFlag, for the commands that take one
}

func (o *tuningOptions) addFlags(fs *pflag.FlagSet) {
	fs.StringVarP(&o.tuning, "tuning", "t", "", "tuning `SPEC`: 31edo, 13ed3, 4:5:6:7, \"1/1 9/8 5/4 4/3 3/2 5/3 15/8\",\nwerckmeister-3 … (default: the instrument's, or 12edo)")
	fs.StringVar(&o.instrument, "instrument", "", "`NAME` of a built-in instrument, or a TOML file: its strings are the targets")
	fs.StringVar(&o.reference, "reference", "", "`NOTE=HZ` that the tuning starts from, such as A4=440 (default: the instrument's, or A4=440)")
	fs.IntVar(&o.held, "string", 0, "compare with string `N` of the instrument only")
	fs.BoolVar(&o.frets, "frets", false, "fretted notes of the instrument are targets too, not only open strings")
	fs.Float64Var(&o.tolerance, "tolerance", 0.5, "`CENTS` within which a note is called in tune")
}

// addCourses adds the flag of the commands that read notes.
func (o *tuningOptions) addCourses(fs *pflag.FlagSet) {
	fs.BoolVar(&o.courses, "courses", false, "read each course of the instrument, such as a pair, as one string")
}

// A plan is what tuningOptions come to.
type plan struct {
	config targets.ResolverConfig
	labels engine.Labels
	tuning *targets.Tuning
	moves  *detune.Plan // that the instrument is tuned by; nil: none
	file   string       // of moves

	changes []tension.Change // of the strings of the instrument by the targets; nil: no instrument
}

// plan reads the specs. All that is wrong with them is wrong usage.
func (o *tuningOptions) plan() (*plan, error) {
	p := &plan{config: targets.ResolverConfig{String: o.held, Frets: o.frets, ToleranceCents: o.tolerance}}
	if err := o.read(p); err != nil {
		return nil, usageError{err}
	}
	if _, err := p.resolver(); err != nil { // tells of the rest before any input is opened
		return nil, err
	}
	switch {
	case p.moves != nil:
		p.changes = p.moves.Changes()
	case p.config.Instrument != nil:
		p.changes = tension.Changes(p.config.Instrument, nil)
	}
	p.labels.Tuning = p.tuning.String()
	p.labels.Reference = p.tuning.Reference().String()
	return p, nil
}

func (o *tuningOptions) read(p *plan) error {
	if o.tolerance <= 0 {
		return fmt.Errorf("tolerance %g cents is not above 0", o.tolerance)
	}
	if o.planFile != "" {
		return o.usePlan(p)
	}
	var reference *targets.Reference
	if o.reference != "" {
		r, err := targets.ParseReference(o.reference)
		if err != nil {
			return err
		}
		reference = &r
	}
	var tuning *targets.Tuning
	if o.tuning != "" {
		t, err := targets.ParseTuning(o.tuning)
		if err != nil {
			return err
		}
		tuning = t
	}
	if o.instrument != "" {
		return o.useInstrument(p, tuning, reference)
	}
	if o.courses {
		return errors.New("--courses needs the strings of an instrument; name one with --instrument")
	}
	if o.frets {
		return errors.New("--frets needs the frets of an instrument; name one with --instrument")
	}
	return p.useTuning(tuning, reference)
}

func (o *tuningOptions) useInstrument(p *plan, tuning *targets.Tuning, reference *targets.Reference) error {
	instrument, err := targets.LoadInstrument(o.instrument)
	if err != nil {
		return err
	}
	if o.courses {
		instrument = instrument.ByCourse()
	}
	if instrument, err = instrument.With(tuning, reference); err != nil {
		return err
	}
	p.config.Instrument, p.tuning = instrument, instrument.Tuning
	p.labels.Instrument = instrument.Name
	return nil
}

func (p *plan) useTuning(tuning *targets.Tuning, reference *targets.Reference) (err error) {
	if tuning == nil {
		if tuning, err = targets.ParseTuning(defaultTuning); err != nil {
			return err
		}
	}
	if reference != nil {
		if tuning, err = tuning.WithReference(*reference); err != nil {
			return err
		}
	}
	p.config.Tuning, p.tuning = tuning, tuning
	return nil
}

// resolver returns a new resolver for one input.
func (p *plan) resolver() (engine.Resolver, error) {
	r, err := targets.NewResolver(p.config)
	if err != nil {
		return nil, usageError{err}
	}
	return r, nil
}
