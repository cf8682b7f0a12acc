package targets

import (
	"errors"
	"fmt"
)

// rotated returns the tuning counted from note k, which becomes 1/1: the modes of a scale. A
// temperament keeps its keys' letters, spelled along its chain of fifths: turning
// quarter-comma-meantone to its G moves the chain Eb…G# to Ab…C#, as the pattern that stood on
// G now stands on C. Its key A, or whatever that is called then, is at 440 Hz.
func (t *Tuning) rotated(k int) (*Tuning, error) {
	if t.division > 0 {
		return nil, errors.New("rotate changes nothing where all steps are equal")
	}
	if k >= len(t.notes) {
		return nil, fmt.Errorf("rotate %d: the notes are numbered 0 to %d", k, len(t.notes)-1)
	}
	notes := make([]Interval, len(t.notes))
	for i := range notes {
		notes[i] = t.indexInterval(k + i).Sub(t.notes[k])
	}
	u, err := newListed(notes, t.period)
	if err != nil {
		return nil, err
	}
	keys, ok := t.naming.(*keys)
	if !ok {
		return u, nil
	}
	keys = keys.rotated(k)
	u.naming = keys
	const a4 = 4*12 + 9
	return u.WithReference(Reference{Label: keys.name(a4), Hz: StandardPitch.Hz})
}
