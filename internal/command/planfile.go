package command

import (
	"errors"
	"strings"

	"github.com/spf13/pflag"

	"tunerd/internal/detune"
)

// addPlanFlag offers a plan of detune as what should sound.
func (o *tuningOptions) addPlanFlag(fs *pflag.FlagSet) {
	fs.StringVar(&o.planFile, "plan", "", "the strings as the plan in `FILE` (of tunerd detune) tunes them are the targets")
}

// usePlan takes instrument and tuning from the plan.
func (o *tuningOptions) usePlan(p *plan) error {
	if o.tuning != "" || o.instrument != "" || o.reference != "" || o.courses {
		return errors.New("--plan has its own instrument, tuning and reference; leave --instrument, --courses, --tuning and --reference out")
	}
	moves, err := detune.LoadPlan(o.planFile)
	if err != nil {
		return err
	}
	in, err := moves.Detuned()
	if err != nil {
		return err
	}
	p.moves, p.file, p.config.Instrument, p.tuning = moves, o.planFile, in, in.Tuning
	p.labels.Instrument = in.Name + ", detuned"
	return nil
}

// joinWords joins what is to be said, passing over what is empty.
func joinWords(all ...string) string {
	var said []string
	for _, words := range all {
		if words != "" {
			said = append(said, words)
		}
	}
	return strings.Join(said, "; ")
}
