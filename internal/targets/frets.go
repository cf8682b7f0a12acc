package targets

import (
	"errors"
	"fmt"
	"math"

	"tunerd/internal/strict"
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
			return nil, strict.At(fmt.Errorf("frets: step %d of fret %d does not come after step %d", step, i+1, last), "steps", i)
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
			return nil, strict.At(fmt.Errorf("frets: %w", err), "intervals", i)
		}
		c := iv.Cents()
		if !(c > 0 && c >= last && c <= 1200*maxFretOctaves) {
			return nil, strict.At(fmt.Errorf("frets: %s of fret %d is not above the open string, in rising order and within %d octaves", quote(text), i+1, maxFretOctaves), "intervals", i)
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
		return nil, strict.At(fmt.Errorf("frets: write count from 0 to %d, or a list of steps or intervals", maxFrets), "count")
	}
	if every < 1 || every > maxSteps {
		return nil, strict.At(fmt.Errorf("frets: every %d is not within 1 to %d steps", every, maxSteps), "every")
	}
	steps := make([]int, *f.Count)
	for i := range steps {
		steps[i] = (i + 1) * every
	}
	return steps, nil
}

// Refretted returns the instrument with its frets laid anew in its tuning, where that is not the one
// of its file: as the file has a fret every so many steps, so there is one every so many steps of
// the new tuning, up to where the old ones ended. Frets that are a list say nothing in another
// tuning, and are refused.
func (in *Instrument) Refretted() (*Instrument, error) {
	if in.Tuning.spec == in.built.spec {
		return in, nil
	}
	out := *in
	out.Strings = append([]InstrumentString(nil), in.Strings...)
	for i := range out.Strings {
		s := &out.Strings[i]
		every, ok := everyStep(s.Frets)
		if !ok {
			return nil, fmt.Errorf("string %d of %s: its frets are a list made for %s; in %s they say nothing: write an instrument file with frets of that tuning",
				i+1, in.Name, in.built, in.Tuning)
		}
		if every == 0 {
			continue
		}
		t, zero := in.Tuning, in.Tuning.zero+s.Open.Step
		last := s.Frets[len(s.Frets)-1].Cents
		s.Frets = nil
		for step := every; t.indexCents(zero+step)-t.indexCents(zero) <= last+sameFretCents; step += every {
			if len(s.Frets) == maxFrets {
				return nil, fmt.Errorf("string %d of %s: %s has more than %d frets up to where its frets end", i+1, in.Name, t, maxFrets)
			}
			s.Frets = append(s.Frets, Fret{Step: step})
		}
		if err := out.placeFrets(s); err != nil {
			return nil, fmt.Errorf("string %d: %w", i+1, err)
		}
	}
	return &out, nil
}

// sameFretCents is by how much a last fret may lie above the old one and still be there.
const sameFretCents = 0.01

// everyStep returns of how many steps each fret is above the one before, 0 without frets; false if
// they are not alike.
func everyStep(frets []Fret) (every int, ok bool) {
	if len(frets) == 0 {
		return 0, true
	}
	every = frets[0].Step
	for i, f := range frets {
		if f.free || f.Step != (i+1)*every {
			return 0, false
		}
	}
	return every, true
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
