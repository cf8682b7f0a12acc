package command

import (
	"cmp"
	"fmt"

	"github.com/spf13/pflag"

	"tunerd/internal/targets"
)

// A bareBoard is one that needs no instrument file.
type bareBoard struct {
	scale string
	open  string
	count int
	every int
	units unitsOptions
}

func (o *bareBoard) addFlags(fs *pflag.FlagSet) {
	fs.StringVar(&o.scale, "scale", "", "without an instrument: `LENGTH` from nut to saddle, 650 or 25.5in")
	fs.IntVar(&o.count, "count", 0, "without an instrument: `N` frets")
	fs.IntVar(&o.every, "every", 1, "without an instrument: a fret every `N` steps of the tuning")
	fs.StringVar(&o.open, "open", "", "without an instrument: open strings, string 1 first, `NOTES`\nsuch as \"E4 B3 G3\" (default: one, the reference note)")
	o.units.addFlags(fs)
}

func (o *bareBoard) given() bool {
	return o.scale != "" || o.count != 0 || o.open != "" || o.every != 1
}

// instrument makes one of the flags.
func (o *bareBoard) instrument(tuning, reference string) (*targets.Instrument, error) {
	if o.scale == "" || o.count < 1 || o.every < 1 {
		return nil, usagef("a board without an instrument needs --scale LENGTH and --count N, from 1; and --every is from 1")
	}
	system, err := o.units.system()
	if err != nil {
		return nil, err
	}
	mm, err := system.MMOf(o.scale)
	if err != nil {
		return nil, usagef("--scale: %w", err)
	}
	courses, err := targets.ParseDraftCourses(cmp.Or(o.open, "step0"))
	if err != nil {
		return nil, usagef("--open: %w", err)
	}
	d := targets.Draft{Tuning: cmp.Or(tuning, defaultTuning), Reference: reference, Courses: courses, ScaleMM: []float64{mm}, Frets: o.count, Every: o.every}
	d.Name = fmt.Sprintf("%s over %.6g mm", d.Tuning, mm)
	_, in, err := d.TOML()
	return in, usageOf(err)
}
