package targets

import (
	"errors"
	"fmt"
	"math"
)

const (
	maxFrets       = 500 // on a string
	maxFretOctaves = 5   // above the open string
)

// fretsFile gives frets as a count, with one fret every so many steps, as a list of steps above
// the open string, or as a list of intervals above it, which need not be notes of the tuning.
type fretsFile struct {
	Count     *int     `toml:"count"`
	Every     *int     `toml:"every"`
	Steps     []int    `toml:"steps"`
	Intervals []string `toml:"intervals"`
}

// build returns the frets with their steps or intervals; nil frets are none.
func (f *fretsFile) build() ([]Fret, error) {
	if f == nil {
		return nil, nil
	}
	if f.Intervals != nil {
		return f.intervals()
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

// intervals returns the frets of a list of intervals. Two may be alike, a slip that a check of
// the instrument finds, but none may lead back.
func (f *fretsFile) intervals() ([]Fret, error) {
	if f.Count != nil || f.Every != nil || f.Steps != nil {
		return nil, errors.New("frets: write either intervals, or steps, or count and every")
	}
	if len(f.Intervals) > maxFrets {
		return nil, fmt.Errorf("frets: %d are more than %d", len(f.Intervals), maxFrets)
	}
	frets := make([]Fret, len(f.Intervals))
	last := 0.0
	for i, text := range f.Intervals {
		iv, err := ParseInterval(text)
		if err != nil {
			return nil, fmt.Errorf("frets: %w", err)
		}
		c := iv.Cents()
		if !(c > 0 && c >= last && c <= 1200*maxFretOctaves) {
			return nil, fmt.Errorf("frets: %s of fret %d is not above the open string, in rising order and within %d octaves", quote(text), i+1, maxFretOctaves)
		}
		_, ratio := iv.Rat()
		frets[i], last = Fret{Cents: c, free: true, ratio: ratio}, c
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
		return nil, fmt.Errorf("frets: write count from 0 to %d, or a list of steps or intervals", maxFrets)
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
// note so many steps above it. In an unequal tuning they differ from string to string. A fret that
// is given by its interval gets the nearest step.
func (in *Instrument) placeFrets(s *InstrumentString) error {
	t := in.Tuning
	zero := t.indexCents(t.zero + s.Open.Step)
	for i := range s.Frets {
		f := &s.Frets[i]
		if f.free {
			f.Step = t.Nearest(s.Open.Hz*math.Exp2(f.Cents/1200)) - s.Open.Step
			continue
		}
		f.Cents = t.indexCents(t.zero+s.Open.Step+f.Step) - zero
		if !(f.Cents <= 1200*maxFretOctaves) {
			return fmt.Errorf("fret %d, %d steps above the open string, is more than %d octaves up", i+1, f.Step, maxFretOctaves)
		}
	}
	return nil
}
