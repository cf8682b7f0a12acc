package targets

import (
	"errors"
	"fmt"
)

const (
	maxFrets       = 500 // on a string
	maxFretOctaves = 5   // above the open string
)

// fretsFile gives frets as a count, with one fret every so many steps, or as a list of steps
// above the open string.
type fretsFile struct {
	Count *int  `toml:"count"`
	Every *int  `toml:"every"`
	Steps []int `toml:"steps"`
}

// build returns the frets with their steps; nil frets are none.
func (f *fretsFile) build() ([]Fret, error) {
	if f == nil {
		return nil, nil
	}
	steps, err := f.steps()
	if err != nil {
		return nil, err
	}
	frets := make([]Fret, len(steps))
	last := 0
	for i, step := range steps {
		if step <= last || step > maxFrets*maxSteps {
			return nil, fmt.Errorf("frets: step %d of fret %d does not come after step %d", step, i+1, last)
		}
		frets[i].Step, last = step, step
	}
	return frets, nil
}

func (f *fretsFile) steps() ([]int, error) {
	if f.Steps != nil {
		if f.Count != nil || f.Every != nil {
			return nil, errors.New("frets: write either count and every, or steps")
		}
		if len(f.Steps) > maxFrets {
			return nil, fmt.Errorf("frets: %d are more than %d", len(f.Steps), maxFrets)
		}
		return f.Steps, nil
	}
	every := 1
	if f.Every != nil {
		every = *f.Every
	}
	if f.Count == nil || *f.Count < 0 || *f.Count > maxFrets {
		return nil, fmt.Errorf("frets: write count from 0 to %d, or a list of steps", maxFrets)
	}
	if every < 1 || every > maxSteps {
		return nil, fmt.Errorf("frets: every %d is not within 1 to %d steps", every, maxSteps)
	}
	steps := make([]int, *f.Count)
	for i := range steps {
		steps[i] = (i + 1) * every
	}
	return steps, nil
}

// placeFrets sets the intervals of the frets: from the open string's note of the tuning to the
// note so many steps above it. In an unequal tuning they differ from string to string.
func (in *Instrument) placeFrets(s *InstrumentString) error {
	t := in.Tuning
	zero := t.indexCents(t.zero + s.Open.Step)
	for i := range s.Frets {
		f := &s.Frets[i]
		f.Cents = t.indexCents(t.zero+s.Open.Step+f.Step) - zero
		if !(f.Cents <= 1200*maxFretOctaves) {
			return fmt.Errorf("fret %d, %d steps above the open string, is more than %d octaves up", i+1, f.Step, maxFretOctaves)
		}
	}
	return nil
}
